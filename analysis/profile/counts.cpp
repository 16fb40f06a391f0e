// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/counts.h"

#include <cmath>
#include <string>

#include "base/expects.h"
#include "base/traverse.h"

namespace crestgate::analysis {

base::Outcome heights_from_counts(std::span<const std::int32_t> counts, double height_step_um,
                                  std::span<double> heights_um) {
  CRESTGATE_EXPECTS(counts.size() == heights_um.size());
  if (!(height_step_um > 0.0) || !std::isfinite(height_step_um)) {
    return base::Error{
        base::ErrorCode::kInvalidConfig,
        "the height step must be a positive number of um, found " + std::to_string(height_step_um)};
  }
  if (counts.empty()) return base::Error{base::ErrorCode::kNoData, "the trace holds no sample"};
  for (std::size_t i = 0; i < counts.size(); ++i) {
    if (counts[i] == base::kMissingCount) {
      return base::Error{base::ErrorCode::kNoData, "sample " + std::to_string(i) + " of " +
                                                       std::to_string(counts.size()) + " is missing"};
    }
    if (counts[i] == base::kOverRangeCount) {
      return base::Error{base::ErrorCode::kOutOfRange, "sample " + std::to_string(i) + " of " +
                                                           std::to_string(counts.size()) + " is over range"};
    }
    heights_um[i] = height_step_um * counts[i];
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
