// SPDX-License-Identifier: Apache-2.0
#pragma once
// Profiles in closed form, for the tests of this folder. Heights in um, positions in mm.

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

namespace crestgate::analysis::profiles {

inline constexpr double kPi = std::numbers::pi;

inline std::vector<double> sampled(std::size_t count, double spacing_mm,
                                   const std::function<double(double)>& height_um) {
  std::vector<double> heights_um(count);
  for (std::size_t i = 0; i < count; ++i) heights_um[i] = height_um(static_cast<double>(i) * spacing_mm);
  return heights_um;
}

inline double sine(double x_mm, double wavelength_mm, double phase = 0.0) {
  return std::sin(2.0 * kPi * x_mm / wavelength_mm + phase);
}

// Normal noise; with a correlation length (e-folding of the autocorrelation) it is smoothed by a Gaussian
// written out here, so that nothing of the filters under test takes part. Seeded, so the same everywhere a
// standard normal distribution is drawn alike.
inline std::vector<double> rough(std::size_t count, double rq_um, std::size_t correlation_samples,
                                 std::uint64_t seed) {
  std::mt19937_64 generator(seed);
  const auto uniform = [&generator] { return (static_cast<double>(generator() >> 11U) + 0.5) * 0x1.0p-53; };
  const std::size_t reach = 2 * correlation_samples;
  std::vector<double> noise(count + 2 * reach);
  for (double& value : noise) value = std::sqrt(-2.0 * std::log(uniform())) * std::cos(2.0 * kPi * uniform());
  std::vector<double> weights(2 * reach + 1, 1.0);
  double squares = 0.0;
  for (std::size_t j = 0; j < weights.size(); ++j) {
    const double u = (static_cast<double>(j) - static_cast<double>(reach)) /
                     std::max(1.0, static_cast<double>(correlation_samples));
    weights[j] = std::exp(-2.0 * u * u);  // autocorrelation exp(-u^2)
    squares += weights[j] * weights[j];
  }
  std::vector<double> heights_um(count);
  for (std::size_t i = 0; i < count; ++i) {
    double sum = 0.0;
    for (std::size_t j = 0; j < weights.size(); ++j) sum += weights[j] * noise[i + j];
    heights_um[i] = rq_um * sum / std::sqrt(squares);
  }
  return heights_um;
}

// Golden profile G1, before its mean is taken off. Source: see golden_profiles_test.cpp.
inline double golden_g1_at(double x) {
  return 0.80 * sine(x, 0.1000, 0.3) + 0.50 * sine(x, 0.0371, 1.1) + 0.25 * sine(x, 0.0132, 2.0) +
         0.10 * sine(x, 0.2417, 0.5) - 2.0 * std::pow(std::max(0.0, sine(x, 0.61, 0.9)), 20.0);
}

// N = 8000, dx = 0.5 um, five sections of 1600 samples; already a roughness profile.
inline std::vector<double> golden_g1() {
  std::vector<double> z = sampled(8000, 0.0005, golden_g1_at);
  double mean = 0.0;
  for (const double value : z) mean += value;
  mean /= static_cast<double>(z.size());
  for (double& value : z) value -= mean;
  return z;
}

}  // namespace crestgate::analysis::profiles
