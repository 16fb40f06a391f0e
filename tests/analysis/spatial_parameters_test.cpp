// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/spatial_parameters.h"

#include <cmath>
#include <complex>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/chirp_transform.h"

namespace crestgate::analysis {
namespace {

SpatialParameters spatial_of(const std::vector<double>& z, double spacing_mm) {
  SpatialWorkspace workspace;
  return SpatialAnalysis(z.size(), spacing_mm).run(z, workspace);
}

// The definition, written out.
double power_at(const std::vector<double>& z, std::size_t k) {
  std::complex<double> sum = 0.0;
  for (std::size_t j = 0; j < z.size(); ++j) {
    const double turns = static_cast<double>((j * k) % z.size()) / static_cast<double>(z.size());
    sum += z[j] * std::polar(1.0, -2.0 * profiles::kPi * turns);
  }
  return std::norm(sum);
}

double slow_autocorrelation_length(const std::vector<double>& z, double spacing_mm) {
  double mean_square = 0.0;
  for (const double value : z) mean_square += value * value / static_cast<double>(z.size());
  double last = 1.0;
  for (std::size_t lag = 1; lag < z.size(); ++lag) {
    double sum = 0.0;
    for (std::size_t i = 0; i + lag < z.size(); ++i) sum += z[i] * z[i + lag];
    const double here = sum / static_cast<double>(z.size() - lag) / mean_square;
    if (here <= 0.2) return spacing_mm * (static_cast<double>(lag - 1) + (last - 0.2) / (last - here));
    last = here;
  }
  return 0.0;
}

const std::size_t kAwkwardCounts[] = {2, 3, 7, 97, 101, 202, 343, 1009};

TEST(ChirpTransform, GivesTheExactBinsOfAnyLength) {
  for (const std::size_t count : kAwkwardCounts) {
    const auto z = profiles::rough(count, 1.0, 2, count);
    const ChirpTransform chirp(count);
    ChirpWorkspace workspace;
    std::vector<double> powers(chirp.bin_count());
    chirp.powers(z, powers, workspace);
    for (std::size_t k = 0; k < powers.size(); ++k) {
      EXPECT_NEAR(powers[k], power_at(z, k), 1e-11 * static_cast<double>(count * count))
          << count << ", " << k;
    }
  }
}

TEST(SpatialParameters, AreThoseOfTheDefinitionAtEveryLength) {
  for (const std::size_t count : {96U, 97U, 100U, 202U, 343U, 1000U, 1009U}) {
    const auto z = profiles::rough(count, 0.7, 5, count);
    const SpatialParameters found = spatial_of(z, 0.001);
    std::size_t best = 1;
    for (std::size_t k = 2; k <= count / 2; ++k) {
      if (power_at(z, k) > power_at(z, best)) best = k;
    }
    EXPECT_TRUE(found.has_dominant_wavelength);
    EXPECT_NEAR(found.dominant_wavelength_mm, 0.001 * static_cast<double>(count) / static_cast<double>(best),
                1e-12)
        << count;
    EXPECT_TRUE(found.has_autocorrelation_length);
    EXPECT_NEAR(found.autocorrelation_length_mm, slow_autocorrelation_length(z, 0.001), 1e-12) << count;
  }
}

// Closed form: cos(2 pi t / l) = 0.2 at t = 0.217953 l. Straight lines between lags and an overlap of other
// than whole periods move it by less than a thousandth of a period here.
TEST(SpatialParameters, OfASineInClosedForm) {
  for (const std::size_t count : {8000U, 8000U + 7U}) {
    const auto z = profiles::sampled(count, 0.0005, [](double x) { return profiles::sine(x, 0.05, 0.7); });
    const SpatialParameters found = spatial_of(z, 0.0005);
    EXPECT_NEAR(found.autocorrelation_length_mm, 0.217953 * 0.05, 1e-3 * 0.05);
    EXPECT_NEAR(found.dominant_wavelength_mm, 0.05, 1e-4);
  }
}

// Autocorrelation exp(-(t/T)^2): Ral = T sqrt(ln 5) = 1.268636 T, over many profiles of 400 T each. The
// scatter of one was found to be about 0.09 T.
TEST(SpatialParameters, OfANormalProcessWithGaussianAutocorrelation) {
  double sum = 0.0;
  const SpatialAnalysis spatial(8000, 0.0005);
  SpatialWorkspace workspace;
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    sum += spatial.run(profiles::rough(8000, 0.5, 20, seed), workspace).autocorrelation_length_mm;
  }
  EXPECT_NEAR(sum / 50.0 / 0.01, 1.268636, 0.04);
}

TEST(SpatialParameters, OfTwoEquallyStrongWavesTheLongerOneDominates) {
  const auto z = profiles::sampled(
      8000, 0.0005, [](double x) { return profiles::sine(x, 0.4, 0.1) + profiles::sine(x, 0.1, 0.2); });
  EXPECT_NEAR(spatial_of(z, 0.0005).dominant_wavelength_mm, 0.4, 1e-12);
}

TEST(SpatialParameters, TheZeroFrequencyIsNoWavelength) {
  const auto z = profiles::sampled(8000, 0.0005, [](double x) { return 50.0 + profiles::sine(x, 0.1); });
  const SpatialParameters found = spatial_of(z, 0.0005);
  EXPECT_NEAR(found.dominant_wavelength_mm, 0.1, 1e-12);
  EXPECT_FALSE(found.has_autocorrelation_length);  // a shifted profile resembles itself at every lag
}

TEST(SpatialParameters, TheShortestWavelengthIsTwoSamples) {
  std::vector<double> z;
  for (int i = 0; i < 1000; ++i) z.push_back(i % 2 == 0 ? 1.0 : -1.0);
  EXPECT_NEAR(spatial_of(z, 0.001).dominant_wavelength_mm, 0.002, 1e-15);
}

TEST(SpatialParameters, ALevelProfileHasNone) {
  for (const double height : {0.0, 0.7}) {
    for (const std::size_t count : {1000U, 1009U}) {
      const SpatialParameters found = spatial_of(std::vector<double>(count, height), 0.001);
      EXPECT_FALSE(found.has_autocorrelation_length);
      EXPECT_FALSE(found.has_dominant_wavelength);
      EXPECT_EQ(found.autocorrelation_length_mm, 0.0);
      EXPECT_EQ(found.dominant_wavelength_mm, 0.0);
    }
  }
}

}  // namespace
}  // namespace crestgate::analysis
