// SPDX-License-Identifier: Apache-2.0
#pragma once
// The least-squares line through equally spaced heights.

#include <cstddef>
#include <span>

namespace crestgate::analysis {

struct StraightLine {
  double middle = 0.0;  // the position, in samples, where the line has its mean height
  double height = 0.0;
  double slope = 0.0;  // per sample

  [[nodiscard]] double at(double position) const { return height + slope * (position - middle); }
};

// Pre       at least one height; a single one has slope 0.
StraightLine line_through(std::span<const double> heights);

}  // namespace crestgate::analysis
