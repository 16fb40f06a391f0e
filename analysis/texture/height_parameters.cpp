// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/height_parameters.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// A sum that waits for itself takes four times as long as four that do not; the order is fixed, so the bits
// are.
constexpr std::size_t kLanes = 4;
using Lanes = std::array<double, kLanes>;

struct Sums {
  Lanes absolute{};
  Lanes squares{};
  Lanes cubes{};
  Lanes fourths{};
  Lanes highest{};
  Lanes lowest{};

  void add(std::size_t lane, double z) {
    const double z2 = z * z;
    absolute[lane] += std::abs(z);
    squares[lane] += z2;
    cubes[lane] += z2 * z;
    fourths[lane] += z2 * z2;
    highest[lane] = std::max(highest[lane], z);
    lowest[lane] = std::min(lowest[lane], z);
  }
};

double total(const Lanes& lanes) { return (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]); }

}  // namespace

HeightParameters height_parameters(std::span<const double> heights_um) {
  CRESTGATE_EXPECTS(!heights_um.empty());
  Sums sums;
  sums.highest.fill(heights_um[0]);
  sums.lowest.fill(heights_um[0]);
  std::size_t i = 0;
  for (; i + kLanes <= heights_um.size(); i += kLanes) {
    for (std::size_t lane = 0; lane < kLanes; ++lane) sums.add(lane, heights_um[i + lane]);
  }
  for (; i < heights_um.size(); ++i) sums.add(0, heights_um[i]);

  const double n = static_cast<double>(heights_um.size());
  const double variance = total(sums.squares) / n;
  HeightParameters found;
  found.highest_um = *std::ranges::max_element(sums.highest);
  found.lowest_um = *std::ranges::min_element(sums.lowest);
  found.arithmetic_mean_um = total(sums.absolute) / n;
  found.root_mean_square_um = std::sqrt(variance);
  // Below this, the fourth power of the heights is not a normal number any more.
  found.has_shape = variance * variance > std::numeric_limits<double>::min();
  if (found.has_shape) {
    found.skewness = total(sums.cubes) / n / (variance * found.root_mean_square_um);
    found.kurtosis = total(sums.fourths) / n / (variance * variance);
  }
  return found;
}

}  // namespace crestgate::analysis
