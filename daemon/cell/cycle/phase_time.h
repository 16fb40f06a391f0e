// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of the cycle: what its parts ask of phases and instants.

#include <cstdint>

#include "base/clock.h"
#include "daemon/cell/cycle/cycle.h"

namespace crestgate::cell {

constexpr std::int64_t elapsed_ms(base::MonotonicInstant from, base::MonotonicInstant to) {
  return (to - from) / base::kNsPerMs;
}

// A part is in work and not judged yet.
constexpr bool is_measuring(Phase phase) {
  return phase == Phase::kPositioning || phase == Phase::kTraversing || phase == Phase::kRetracting ||
         phase == Phase::kSettling || phase == Phase::kJudging;
}

}  // namespace crestgate::cell
