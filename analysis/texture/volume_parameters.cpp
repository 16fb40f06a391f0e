// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/volume_parameters.h"

#include <algorithm>
#include <cstddef>
#include <functional>
#include <span>

namespace crestgate::analysis {
namespace {

constexpr double kPeakRatio = 0.1;
constexpr double kDaleRatio = 0.8;
constexpr std::size_t kLanes = 4;  // sums that do not wait for each other

// Sum of z - height.
double sum_over(std::span<const double> z, double height_um) {
  double sums[kLanes] = {};
  std::size_t i = 0;
  for (; i + kLanes <= z.size(); i += kLanes) {
    for (std::size_t lane = 0; lane < kLanes; ++lane) sums[lane] += z[i + lane] - height_um;
  }
  for (; i < z.size(); ++i) sums[0] += z[i] - height_um;
  return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

// How many samples lie above the height.
std::size_t count_above(std::span<const double> falling_um, double height_um) {
  const auto end = std::ranges::lower_bound(falling_um, height_um, std::greater<>());
  return static_cast<std::size_t>(end - falling_um.begin());
}

}  // namespace

double material_above_um(const MaterialRatioCurve& curve, double height_um) {
  const std::span<const double> z = curve.falling_um();
  return sum_over(z.first(count_above(z, height_um)), height_um) / static_cast<double>(z.size());
}

double void_below_um(const MaterialRatioCurve& curve, double height_um) {
  const std::span<const double> z = curve.falling_um();
  const double sum = sum_over(z.subspan(count_above(z, height_um)), height_um);
  return sum < 0.0 ? -sum / static_cast<double>(z.size()) : 0.0;
}

VolumeParameters volume_parameters(const MaterialRatioCurve& curve) {
  const double peak_um = curve.height_at(kPeakRatio);
  const double dale_um = curve.height_at(kDaleRatio);
  VolumeParameters found;
  found.peak_material_um = material_above_um(curve, peak_um);
  found.core_material_um = material_above_um(curve, dale_um) - found.peak_material_um;
  found.dale_void_um = void_below_um(curve, dale_um);
  found.core_void_um = void_below_um(curve, peak_um) - found.dale_void_um;
  return found;
}

}  // namespace crestgate::analysis
