// SPDX-License-Identifier: Apache-2.0
#pragma once
// A live accept, as the cycle shows it: every sign of it agrees.

#include <cstdint>

#include "base/cell_signal.h"

namespace crestgate::tests {

inline base::CellSignal accepted(std::uint64_t sequence = 1) {
  base::CellSignal signal;
  signal.state = base::CellState::kResult;
  signal.lamp = base::Lamp::kGreen;
  signal.result_valid = true;
  signal.verdict = base::Verdict::kAccept;
  signal.reason = base::Reason::kAllWithinLimits;
  signal.fate = base::Fate::kPass;
  signal.sequence = sequence;
  signal.line = "SHAFT-1: Ra 0.41 um";
  return signal;
}

}  // namespace crestgate::tests
