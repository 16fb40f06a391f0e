// SPDX-License-Identifier: Apache-2.0
#pragma once
// One thing that goes wrong, and when. simulator/SCENARIO.md, section 4, describes each kind.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/result.h"
#include "simulator/link/line_fault.h"
#include "simulator/link/upset.h"

namespace crestgate::simulator {

struct FaultPlan {
  enum class Kind {
    // The line. With a probability: each byte or frame. Without: the one at `after_samples`.
    kFlipBit,
    kDropByte,
    kDuplicateFrame,
    kSwapFrames,
    kTruncateFrame,
    kSlowBytes,
    // The gauge.
    kStall,
    kSilent,
    kHang,
    kRestart,
    kResetInReply,
    kDisconnect,
    kDriveBlocked,
    kStaleRepeat,
    // The stylus.
    kOverRange,
    kStuckStylus,
    kLiftOff,
    kGainDrift,
    kVibration,
    // What the gauge says about a traverse and is not so.
    kStylusLifted,
    kSpeedUnsteady,
  };
  Kind kind = Kind::kStall;

  std::uint32_t times = 1;                     // traverses it happens in; 0: in every one
  std::optional<std::uint32_t> after_samples;  // of a traverse; absent: half of it
  std::int64_t for_ms = 0;                     // 0: for ever
  std::optional<std::string> part;             // absent: any
  std::optional<std::uint32_t> stage;
  std::optional<std::uint32_t> attempt;
  std::optional<std::uint32_t> zone;

  std::optional<double> probability;     // per byte or frame
  std::optional<Direction> direction;    // kFlipBit, kDropByte; absent: both
  std::uint32_t bytes_per_s = 1000;      // kSlowBytes
  Replug replug = {};                    // kDisconnect
  bool under_old_id = false;             // kStaleRepeat
  std::optional<std::uint32_t> samples;  // kOverRange, kLiftOff; absent: a tenth of the traverse
  double noise_um = 0.0;                 // kStuckStylus
  double height_um = 3.0;                // kLiftOff
  double percent = 1.0;                  // kGainDrift, per traverse
  double percent_per_s = 0.0;            // kGainDrift, while the stylus moves
  double amplitude_um = 0.3;             // kVibration
  double wavelength_mm = 0.05;           // kVibration
  bool noticed = true;                   // kOverRange, kLiftOff, kVibration: the gauge says so
};

// The words of a fault statement after 'fault'; `where` begins every error's text.
// Errors  kInvalidConfig.
base::Result<FaultPlan> parse_fault(std::string_view text, const std::string& where);

// Those that damage bytes or frames.
constexpr bool damages_line(FaultPlan::Kind kind) { return kind <= FaultPlan::Kind::kTruncateFrame; }

// What happens at a sample of the traverse; nothing for the kinds that act on heights.
std::optional<Upset::Kind> upset_of(FaultPlan::Kind kind);

// Those that end a traverse or interrupt it: one of them is enough for one traverse.
bool interrupts(FaultPlan::Kind kind);

}  // namespace crestgate::simulator
