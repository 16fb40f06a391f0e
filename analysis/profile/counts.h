// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the gauge's counts to heights.

#include <cstddef>
#include <cstdint>
#include <span>

#include "base/result.h"

namespace crestgate::analysis {

// Purpose   heights_um[i] = counts[i] * height_step_um; refuses what is not a height.
// Shape     counts and heights_um of equal size.
// Errors    kInvalidConfig: the step is not a positive finite number. kNoData: no samples at all, or one
//           is base::kMissingCount. kOutOfRange: one is base::kOverRangeCount. The sentence names the
//           first such sample, counted from 0; heights_um is then unspecified.
base::Outcome heights_from_counts(std::span<const std::int32_t> counts, double height_step_um,
                                  std::span<double> heights_um);

// What a trace of counts lacks.
struct CountGaps {
  std::size_t missing = 0;
  std::size_t over_range = 0;
};

// Purpose   the same for a trace that may have gaps: base::kMissingCount and base::kOverRangeCount become
//           NaN, for TracePreparation to bridge or to refuse.
// Errors    kInvalidConfig: the step is not a positive finite number. kNoData: no samples at all.
base::Result<CountGaps> heights_with_gaps(std::span<const std::int32_t> counts, double height_step_um,
                                          std::span<double> heights_um);

}  // namespace crestgate::analysis
