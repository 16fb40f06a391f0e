// SPDX-License-Identifier: Apache-2.0
#pragma once
// Faces as grinding and finishing leave them, built from grain marks. Heights in um.

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <random>
#include <vector>

namespace crestgate::analysis::faces {

struct GrindOptions {
  std::size_t sample_count = 11200;
  double spacing_um = 0.5;
  double grain_distance_um = 6.0;  // mean, along the trace
  double spread_um = 0.6;          // of the grains' depths
  double noise_um = 0.005;
  std::uint64_t seed = 1;
};

// Each grain leaves a parabolic groove of 3 to 60 um radius; the surface is the lowest of all, so that its
// crests are sharp corners: harder than anything a tip traces, since a tip rounds them.
inline std::vector<double> ground(const GrindOptions& options) {
  std::mt19937_64 generator(options.seed);
  const auto uniform = [&generator] { return (static_cast<double>(generator() >> 11U) + 0.5) * 0x1.0p-53; };
  const auto normal = [&uniform] {
    return std::sqrt(-2.0 * std::log(uniform())) * std::cos(6.283185307179586 * uniform());
  };
  const double length_um = options.spacing_um * static_cast<double>(options.sample_count);
  std::vector<double> heights_um(options.sample_count, 3.0 * options.spread_um);
  for (double place_um = 0.0; place_um < length_um;
       place_um -= options.grain_distance_um * std::log(uniform())) {
    const double radius_um = 3.0 * std::pow(20.0, uniform());
    const double depth_um = options.spread_um * normal();
    const double reach_um = std::sqrt(2.0 * radius_um * std::max(0.0, 3.0 * options.spread_um - depth_um));
    const double first = std::max(0.0, std::ceil((place_um - reach_um) / options.spacing_um));
    for (auto i = static_cast<std::size_t>(first); i < heights_um.size(); ++i) {
      const double u = static_cast<double>(i) * options.spacing_um - place_um;
      if (u > reach_um) break;
      heights_um[i] = std::min(heights_um[i], depth_um + u * u / (2.0 * radius_um));
    }
  }
  for (double& height_um : heights_um) height_um += options.noise_um * normal();
  return heights_um;
}

// The same with its crests cut to a land: quiet plateaus between deep narrow grooves.
inline std::vector<double> finished(const GrindOptions& options, double land_um) {
  std::vector<double> heights_um = ground(options);
  std::mt19937_64 generator(options.seed + 1000);
  for (double& height_um : heights_um) {
    const double noise_um = options.noise_um * (static_cast<double>(generator() >> 11U) * 0x1.0p-53 - 0.5);
    height_um = std::min(height_um, land_um + noise_um);
  }
  return heights_um;
}

}  // namespace crestgate::analysis::faces
