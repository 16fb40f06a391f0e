// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/fault_plan.h"

namespace crestgate::simulator {

std::optional<Upset::Kind> upset_of(FaultPlan::Kind kind) {
  using Kind = FaultPlan::Kind;
  switch (kind) {
    case Kind::kFlipBit:
      return Upset::Kind::kFlipBit;
    case Kind::kDropByte:
      return Upset::Kind::kDropByte;
    case Kind::kDuplicateFrame:
      return Upset::Kind::kDuplicateFrame;
    case Kind::kSwapFrames:
      return Upset::Kind::kSwapFrames;
    case Kind::kTruncateFrame:
      return Upset::Kind::kTruncateFrame;
    case Kind::kSlowBytes:
      return Upset::Kind::kSlow;
    case Kind::kStall:
      return Upset::Kind::kStall;
    case Kind::kSilent:
      return Upset::Kind::kSilent;
    case Kind::kHang:
      return Upset::Kind::kHang;
    case Kind::kRestart:
      return Upset::Kind::kRestart;
    case Kind::kResetInReply:
      return Upset::Kind::kResetInReply;
    case Kind::kDisconnect:
      return Upset::Kind::kDisconnect;
    case Kind::kDriveBlocked:
      return Upset::Kind::kDriveBlocked;
    default:
      return std::nullopt;
  }
}

bool interrupts(FaultPlan::Kind kind) {
  return kind >= FaultPlan::Kind::kStall && kind <= FaultPlan::Kind::kDriveBlocked;
}

}  // namespace crestgate::simulator
