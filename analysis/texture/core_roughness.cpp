// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/core_roughness.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kFlattestShare = 0.4;
constexpr double kTie = 1e-9;  // of the secant's own fall
// Of the whole height: heights that are equal in the mind differ by this after filtering.
constexpr double kTieOfRange = 1e-12;

constexpr double kRounding = 1e-15;  // of the heights: a mean of equal numbers may differ from them

struct Line {
  double top_um = 0.0;     // at ratio 0
  double bottom_um = 0.0;  // at ratio 1
};

std::size_t flattest_start(std::span<const double> falling_um, std::size_t length) {
  double least = falling_um[0] - falling_um[length];
  for (std::size_t k = 1; k + length < falling_um.size(); ++k) {
    least = std::min(least, falling_um[k] - falling_um[k + length]);
  }
  const double limit = least * (1.0 + kTie) + kTieOfRange * (falling_um.front() - falling_um.back());
  std::size_t first = 0;
  while (falling_um[first] - falling_um[first + length] > limit) ++first;
  return first;
}

Line fit_line(std::span<const double> falling_um, std::size_t start, std::size_t length) {
  const double n = static_cast<double>(falling_um.size());
  const double points = static_cast<double>(length) + 1.0;
  double mean = 0.0;
  for (std::size_t k = start; k <= start + length; ++k) mean += falling_um[k];
  mean /= points;
  // Ranks about their own middle: -length/2 .. length/2.
  const double middle = 0.5 * static_cast<double>(length);
  double product = 0.0;
  double squares = 0.0;
  for (std::size_t j = 0; j <= length; ++j) {
    const double rank = static_cast<double>(j) - middle;
    product += rank * (falling_um[start + j] - mean);
    squares += rank * rank;
  }
  const double slope = product / squares * n;  // per unit of ratio
  const double ratio = (static_cast<double>(start) + middle + 0.5) / n;
  return {.top_um = mean - slope * ratio, .bottom_um = mean + slope * (1.0 - ratio)};
}

}  // namespace

CoreRoughness core_roughness(const MaterialRatioCurve& curve) {
  const std::span<const double> falling_um = curve.falling_um();
  CRESTGATE_EXPECTS(falling_um.size() >= 3);
  const double n = static_cast<double>(falling_um.size());
  const auto length = static_cast<std::size_t>(std::round(kFlattestShare * n));
  const Line line = fit_line(falling_um, flattest_start(falling_um, length), length);

  CoreRoughness found;
  found.core_um = std::max(0.0, line.top_um - line.bottom_um);
  found.peak_beyond_um = std::max(0.0, falling_um.front() - line.top_um);
  found.valley_beyond_um = std::max(0.0, line.bottom_um - falling_um.back());
  for (std::size_t k = 0; k < falling_um.size() && falling_um[k] > line.top_um; ++k) {
    found.peak_area_um += falling_um[k] - line.top_um;
  }
  for (std::size_t k = falling_um.size(); k-- > 0 && falling_um[k] < line.bottom_um;) {
    found.valley_area_um += line.bottom_um - falling_um[k];
  }
  found.peak_area_um /= n;
  found.valley_area_um /= n;
  // What rounding leaves of a peak or valley that is not there must not become a ratio of two nothings, and a
  // plateau that is the core (square wave) lies below the top and above the bottom, whatever its last bit
  // says.
  const double nothing = kTieOfRange * (falling_um.front() - falling_um.back()) +
                         kRounding * std::max(std::abs(falling_um.front()), std::abs(falling_um.back()));
  if (found.peak_beyond_um > nothing) {
    found.upper_ratio = curve.ratio_at(line.top_um + nothing);
    found.reduced_peak_um = 2.0 * found.peak_area_um / found.upper_ratio;
  }
  if (found.valley_beyond_um > nothing) {
    found.lower_ratio = curve.ratio_at(line.bottom_um - nothing);
    found.reduced_valley_um = 2.0 * found.valley_area_um / (1.0 - found.lower_ratio);
  }
  return found;
}

}  // namespace crestgate::analysis
