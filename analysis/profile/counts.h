// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the gauge's counts to heights.

#include <cstdint>
#include <span>

#include "base/result.h"

namespace crestgate::analysis {

// Purpose   heights_um[i] = counts[i] * height_step_um; refuses what is not a height.
// Shape     counts and heights_um of equal size.
// Errors    kInvalidConfig: the step is not a positive finite number. kNoData: no samples at all, or one is
//           base::kMissingCount. kOutOfRange: one is base::kOverRangeCount. The sentence names the first such
//           sample, counted from 0; heights_um is then unspecified.
base::Outcome heights_from_counts(std::span<const std::int32_t> counts, double height_step_um,
                                  std::span<double> heights_um);

}  // namespace crestgate::analysis
