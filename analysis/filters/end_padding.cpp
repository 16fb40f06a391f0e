// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/end_padding.h"

#include <algorithm>

#include "analysis/filters/straight_line.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

void extrapolate(std::size_t margin, std::span<const double> heights, std::span<double> padded) {
  const std::size_t n = heights.size();
  const std::size_t used = std::min(n, margin + 1);
  const StraightLine first = line_through(heights.first(used));
  const StraightLine last = line_through(heights.last(used));
  for (std::size_t j = 1; j <= margin; ++j) {
    const auto distance = static_cast<double>(j);
    padded[margin - j] = first.at(-distance);
    padded[margin + n - 1 + j] = last.at(static_cast<double>(used - 1) + distance);
  }
}

}  // namespace

void fill_padded(EndRule ends, std::size_t margin, std::span<const double> heights,
                 std::span<double> padded) {
  const std::size_t n = heights.size();
  CRESTGATE_EXPECTS(n > 0 && padded.size() == n + 2 * margin);
  CRESTGATE_EXPECTS(!is_reflection(ends) || n > margin);
  std::ranges::copy(heights, padded.begin() + static_cast<std::ptrdiff_t>(margin));
  if (ends == EndRule::kExtrapolated) return extrapolate(margin, heights, padded);
  for (std::size_t j = 1; j <= margin; ++j) {
    double before = 0.0;
    double after = 0.0;
    if (ends == EndRule::kReflected) {
      before = heights[j];
      after = heights[n - 1 - j];
    } else if (ends == EndRule::kPointReflected) {
      before = 2.0 * heights[0] - heights[j];
      after = 2.0 * heights[n - 1] - heights[n - 1 - j];
    }
    padded[margin - j] = before;
    padded[margin + n - 1 + j] = after;
  }
}

}  // namespace crestgate::analysis
