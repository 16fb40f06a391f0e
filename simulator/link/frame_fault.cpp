// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/frame_fault.h"

#include <algorithm>
#include <cstddef>

#include "simulator/link/messages.h"

namespace crestgate::simulator {

bool FrameFault::struck(Upset::Kind kind, double probability) {
  const bool by_chance = probability > 0.0 && random_.uniform() < probability;
  return by_chance || std::find(strikes_.begin(), strikes_.end(), kind) != strikes_.end();
}

Bytes FrameFault::pass(ByteView frame, std::uint8_t type, const FrameFaultSettings& settings) {
  Bytes out(frame.begin(), frame.end());
  const auto middle = out.begin() + static_cast<std::ptrdiff_t>(out.size() / 2);
  constexpr std::uint8_t kBit = 0x10;  // one is as good as another
  if (struck(Upset::Kind::kFlipBit, 0.0)) *middle = static_cast<std::uint8_t>(*middle ^ kBit);
  if (struck(Upset::Kind::kDropByte, 0.0)) out.erase(middle);
  const bool duplicated = struck(Upset::Kind::kDuplicateFrame, settings.duplicate_probability);
  const bool swapped = struck(Upset::Kind::kSwapFrames, settings.swap_probability);
  const bool cut = struck(Upset::Kind::kTruncateFrame, settings.truncate_probability) ||
                   struck(Upset::Kind::kResetInReply, 0.0);
  strikes_.clear();
  if (cut) out.resize(out.size() / 2);
  if (duplicated) {
    const Bytes again = out;
    out.insert(out.end(), again.begin(), again.end());
  }
  if (type == GaugePulse::kType) return out;
  if (!held_.empty()) {
    out.insert(out.end(), held_.begin(), held_.end());
    held_.clear();
  } else if (swapped) {
    held_.swap(out);
  }
  return out;
}

}  // namespace crestgate::simulator
