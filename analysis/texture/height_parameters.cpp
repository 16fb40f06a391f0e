// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/height_parameters.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/expects.h"

namespace crestgate::analysis {

HeightParameters height_parameters(std::span<const double> heights_um) {
  CRESTGATE_EXPECTS(!heights_um.empty());
  double absolute = 0.0;
  double squares = 0.0;
  double cubes = 0.0;
  double fourths = 0.0;
  HeightParameters found;
  found.highest_um = heights_um[0];
  found.lowest_um = heights_um[0];
  for (const double z : heights_um) {
    const double z2 = z * z;
    absolute += std::abs(z);
    squares += z2;
    cubes += z2 * z;
    fourths += z2 * z2;
    found.highest_um = std::max(found.highest_um, z);
    found.lowest_um = std::min(found.lowest_um, z);
  }
  const double n = static_cast<double>(heights_um.size());
  const double variance = squares / n;
  found.arithmetic_mean_um = absolute / n;
  found.root_mean_square_um = std::sqrt(variance);
  // Below this, the fourth power of the heights is not a normal number any more.
  found.has_shape = variance * variance > std::numeric_limits<double>::min();
  if (found.has_shape) {
    found.skewness = cubes / n / (variance * found.root_mean_square_um);
    found.kurtosis = fourths / n / (variance * variance);
  }
  return found;
}

}  // namespace crestgate::analysis
