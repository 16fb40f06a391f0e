// SPDX-License-Identifier: Apache-2.0
#pragma once
// Profiles for the tests of the profile filters. Heights in um, positions in mm.

#include <cstddef>
#include <vector>

#include "analysis/profiles.h"

namespace crestgate::analysis::profiles {

constexpr std::size_t kG2Count = 5601;
constexpr double kG2Spacing = 0.001;
constexpr double kG2Cutoff = 0.8;

inline std::vector<double> golden_g2_without_grooves() {
  return sampled(kG2Count, kG2Spacing,
                 [](double x) { return 0.3 * sine(x, 0.05) + 0.2 * sine(x, 0.021, 1.0) + sine(x, 4.0); });
}

// Golden profile G2: three sines and grooves of 4 um at (i mod 400) in 200..229. Its values in the tests were
// computed independently with NumPy and SciPy: kernels untruncated, sums by their own transforms, robust
// loops to a relative change of c of 1e-10.
inline std::vector<double> golden_g2() {
  std::vector<double> z = golden_g2_without_grooves();
  for (std::size_t i = 0; i < z.size(); ++i) {
    if (i % 400 >= 200 && i % 400 < 230) z[i] -= 4.0;
  }
  return z;
}

// A flat land at 0 with fine grooves of depth 5: `grooved` of every 20 samples.
inline std::vector<double> fine_grooves(std::size_t count, std::size_t grooved) {
  std::vector<double> z(count, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    if ((i + 10) % 20 < grooved) z[i] = -5.0;
  }
  return z;
}

}  // namespace crestgate::analysis::profiles
