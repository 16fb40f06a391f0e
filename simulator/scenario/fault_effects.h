// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the faults of one traverse do to it.

#include <cstdint>
#include <vector>

#include "simulator/link/traverse_source.h"
#include "simulator/scenario/armed_faults.h"

namespace crestgate::simulator {

struct DisturbedPass {
  TraverseOrder order;
  double noise_um = 0.0;   // of the pickup
  std::uint64_t seed = 0;  // of this traverse alone
};

// Those that happen to the stylus: they change the readings (um), whether the gauge says so or not.
void disturb_readings(std::vector<double>& readings_um, const std::vector<DueFault>& due,
                      const DisturbedPass& pass);

// Those that act on counts, quality and course of the traverse. `previous` are the counts of the traverse
// before.
void disturb_traverse(TracedHeights& traced, const std::vector<DueFault>& due,
                      const std::vector<std::int32_t>& previous);

}  // namespace crestgate::simulator
