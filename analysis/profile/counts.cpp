// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/counts.h"

#include <cmath>
#include <limits>
#include <string>

#include "base/expects.h"
#include "base/traverse.h"

namespace crestgate::analysis {

namespace {

base::Outcome check(std::span<const std::int32_t> counts, double height_step_um) {
  if (!(height_step_um > 0.0) || !std::isfinite(height_step_um)) {
    return base::Error{
        base::ErrorCode::kInvalidConfig,
        "the height step must be a positive number of um, found " + std::to_string(height_step_um)};
  }
  if (counts.empty()) return base::Error{base::ErrorCode::kNoData, "the trace holds no sample"};
  return base::Done{};
}

}  // namespace

base::Outcome heights_from_counts(std::span<const std::int32_t> counts, double height_step_um,
                                  std::span<double> heights_um) {
  CRESTGATE_EXPECTS(counts.size() == heights_um.size());
  if (auto checked = check(counts, height_step_um); !checked) return checked;
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

base::Result<CountGaps> heights_with_gaps(std::span<const std::int32_t> counts, double height_step_um,
                                          std::span<double> heights_um) {
  CRESTGATE_EXPECTS(counts.size() == heights_um.size());
  if (const auto checked = check(counts, height_step_um); !checked) return checked.error();
  CountGaps gaps;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    heights_um[i] = height_step_um * counts[i];
    if (counts[i] == base::kMissingCount) ++gaps.missing;
    if (counts[i] == base::kOverRangeCount) ++gaps.over_range;
    if (counts[i] == base::kMissingCount || counts[i] == base::kOverRangeCount) {
      heights_um[i] = std::numeric_limits<double>::quiet_NaN();
    }
  }
  return gaps;
}

}  // namespace crestgate::analysis
