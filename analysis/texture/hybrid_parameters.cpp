// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/hybrid_parameters.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr double kPercent = 100.0;
// Numbers are made block by block, in loops of fixed length that the compiler turns into vector code, and
// then added up two by two. Half the time of one loop over all.
constexpr std::size_t kBlock = 128;
using Block = std::array<double, kBlock>;

// Sixty times the spacing times the gradient at *z.
double seven_points(const double* z) { return 45.0 * (z[1] - z[-1]) - 9.0 * (z[2] - z[-2]) + (z[3] - z[-3]); }

struct GradientSums {
  double absolute = 0.0;
  double squares = 0.0;
  double largest = 0.0;

  void add(double g) {
    const double size = std::abs(g);
    absolute += size;
    squares += g * g;
    largest = std::max(largest, size);
  }
};

GradientSums sum_gradients(const double* first, std::size_t count) {
  GradientSums even;
  GradientSums odd;
  Block block;  // NOLINT(cppcoreguidelines-pro-type-member-init): written before read
  std::size_t i = 0;
  for (; i + kBlock <= count; i += kBlock) {
    for (std::size_t j = 0; j < kBlock; ++j) block[j] = seven_points(first + i + j);
    for (std::size_t j = 0; j < kBlock; j += 2) {
      even.add(block[j]);
      odd.add(block[j + 1]);
    }
  }
  for (; i < count; ++i) even.add(seven_points(first + i));
  return {.absolute = even.absolute + odd.absolute,
          .squares = even.squares + odd.squares,
          .largest = std::max(even.largest, odd.largest)};
}

// How much longer than its projection dx the chord of rise dz is, without the cancellation of
// hypot(dx, dz) - dx.
double excess(double dx, double dz) {
  const double square = dz * dz;
  return square / (dx + std::sqrt(dx * dx + square));
}

double sum_excess(std::span<const double> heights_um, double dx) {
  double even = 0.0;
  double odd = 0.0;
  Block block;  // NOLINT(cppcoreguidelines-pro-type-member-init): written before read
  const std::size_t chords = heights_um.size() - 1;
  std::size_t i = 0;
  for (; i + kBlock <= chords; i += kBlock) {
    const double* z = heights_um.data() + i;
    for (std::size_t j = 0; j < kBlock; ++j) block[j] = excess(dx, z[j + 1] - z[j]);
    for (std::size_t j = 0; j < kBlock; j += 2) {
      even += block[j];
      odd += block[j + 1];
    }
  }
  for (; i < chords; ++i) even += excess(dx, heights_um[i + 1] - heights_um[i]);
  return even + odd;
}

}  // namespace

HybridParameters hybrid_parameters(const EvaluatedProfile& profile) {
  const std::span<const double> heights_um = profile.heights_um();
  CRESTGATE_EXPECTS(heights_um.size() > 2 * kGradientReach && profile.spacing_mm > 0.0);
  const double dx = profile.spacing_mm * kUmPerMm;
  const std::size_t first = std::max(profile.first_sample, kGradientReach);
  const std::size_t end =
      std::min(profile.first_sample + profile.sample_count, profile.whole_um.size() - kGradientReach);
  const GradientSums sums = sum_gradients(profile.whole_um.data() + first, end - first);

  const double scale = 1.0 / (60.0 * dx);
  const double n = static_cast<double>(end - first);
  HybridParameters found;
  found.root_mean_square_gradient = std::sqrt(sums.squares / n) * scale;
  found.arithmetic_mean_gradient = sums.absolute / n * scale;
  found.largest_gradient = sums.largest * scale;

  const double projected = static_cast<double>(heights_um.size() - 1) * dx;
  const double longer = sum_excess(heights_um, dx);
  found.developed_length_mm = (projected + longer) / kUmPerMm;
  found.developed_ratio_percent = kPercent * longer / projected;
  return found;
}

}  // namespace crestgate::analysis
