// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/straight_line.h"

#include "analysis/statistics/moments.h"

namespace crestgate::analysis {

StraightLine line_through(std::span<const double> heights) {
  StraightLine line{.middle = (static_cast<double>(heights.size()) - 1.0) / 2.0, .height = mean_of(heights)};
  double product = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < heights.size(); ++i) {
    const double x = static_cast<double>(i) - line.middle;
    product += x * (heights[i] - line.height);
    square += x * x;
  }
  if (square > 0.0) line.slope = product / square;
  return line;
}

}  // namespace crestgate::analysis
