// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/profile_elements.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

ElementParameters elements_of(const std::vector<double>& z, double hill_um, double dale_um,
                              double spacing_mm = 1.0) {
  ElementWorkspace workspace;
  return profile_elements(z, {.spacing_mm = spacing_mm, .hill_um = hill_um, .dale_um = dale_um}, workspace);
}

const std::vector<double> kH1 = {0, 1, 2, 1, 0, -1, -2, -1, 0, 1, 2, 1, 0, -1, -2, -1};
const std::vector<double> kH4 = {1, 2, 1, -1, -2, -1, 0.2, -1, -2, -1, 1, 2, 1, -1, -2, -1, 1, 2, 1, -1};

// Boundaries by hand: 2.5, 9.5, 12.5, 15.5, 18.5, spacings 10, 6, 6; seen from the other end
// 0.5, 3.5, 6.5, 9.5, 16.5, spacings 6, 6, 10.
TEST(ProfileElements, OfHandVectorH4WithASmallHillSwallowed) {
  const ElementParameters found = elements_of(kH4, 0.5, 0.5);
  EXPECT_EQ(found.boundary_count, 5U);
  EXPECT_NEAR(found.mean_spacing_mm, 22.0 / 3.0, 1e-12);
  EXPECT_NEAR(found.largest_spacing_mm, 10.0, 1e-12);
  EXPECT_NEAR(found.spacing_deviation_mm, std::sqrt(32.0 / 9.0), 1e-12);
  EXPECT_NEAR(found.mean_height_um, 4.0, 1e-12);
  EXPECT_NEAR(found.largest_height_um, 4.0, 1e-12);
  EXPECT_NEAR(found.height_deviation_um, 0.0, 1e-12);
  EXPECT_NEAR(found.peaks_per_cm, 10.0 * 3.0 / 22.0, 1e-12);
}

// By hand: 2.5, 5.8333, 6.1667, 9.5, 12.5, 15.5, 18.5; heights 2.2, 2.2, 4, 4, 4.
TEST(ProfileElements, OfHandVectorH4WithoutThresholds) {
  const ElementParameters found = elements_of(kH4, 0.0, 0.0);
  EXPECT_EQ(found.boundary_count, 7U);
  EXPECT_NEAR(found.mean_spacing_mm, 77.0 / 15.0, 1e-12);
  EXPECT_NEAR(found.mean_height_um, 3.28, 1e-12);
}

// H5 is the place (2, -0.2, 0.2, -2): its boundary lies at 3.0909 from the left and at 1.9091 from the right.
// By hand: 0.5, 3.0909, 4.5, 5.5, 6.5, 7.5 with spacings 4, 2.4091, 2, 2, and 7.5, 6.5, 5.5, 4.5, 1.9091, 0.5
// with 2, 2, 3.5909, 4.
TEST(ProfileElements, AreAveragedOverBothDirections) {
  const ElementParameters found = elements_of({-2, 2, -0.2, 0.2, -2, 2, -2, 2, -2}, 0.5, 0.5);
  EXPECT_EQ(found.boundary_count, 6U);
  EXPECT_NEAR(found.mean_spacing_mm, 2.75, 1e-12);
  EXPECT_NEAR(found.largest_spacing_mm, 4.0, 1e-12);
}

TEST(ProfileElements, AZeroBelongsToTheHillAndCrossesNothing) {
  std::vector<double> z;
  for (int repeat = 0; repeat < 3; ++repeat) z.insert(z.end(), kH1.begin(), kH1.end());
  EXPECT_NEAR(elements_of(z, 0.0, 0.0).mean_spacing_mm, 8.0, 1e-12);
  EXPECT_NEAR(elements_of(z, 2.0, 2.0).mean_spacing_mm, 8.0, 1e-12);  // a run that just reaches it counts
  EXPECT_FALSE(elements_of(z, 2.0 + 1e-9, 2.0).has_elements);
  EXPECT_EQ(elements_of(z, 2.0 + 1e-9, 2.0).boundary_count, 0U);
}

TEST(ProfileElements, TheTwoThresholdsAreForHillsAndDalesApart) {
  // Hills of 1 and 3 in turn, dales of 2.
  std::vector<double> z;
  for (int k = 0; k < 40; ++k) z.insert(z.end(), {k % 2 == 0 ? 1.0 : 3.0, -2.0});
  const double plain = elements_of(z, 1.0, 2.0).mean_spacing_mm;
  EXPECT_NEAR(plain, 2.0, 0.05);
  EXPECT_NEAR(elements_of(z, 1.5, 2.0).mean_spacing_mm, 4.0, 0.05);
  EXPECT_FALSE(elements_of(z, 1.0, 2.5).has_elements);
}

TEST(ProfileElements, FewerThanThreeBoundariesAreNoElements) {
  const std::vector<double> short_one = {1, -1, 1, -1};  // groups 4, boundaries kept 3
  EXPECT_TRUE(elements_of(short_one, 0.0, 0.0).has_elements);
  const ElementParameters found = elements_of({1, -1, 1}, 0.0, 0.0);
  EXPECT_FALSE(found.has_elements);
  EXPECT_EQ(found.boundary_count, 2U);
  EXPECT_EQ(found.mean_spacing_mm, 0.0);
  EXPECT_FALSE(elements_of({1.0, 2.0}, 0.0, 0.0).has_elements);
  EXPECT_FALSE(elements_of(std::vector<double>(100, 0.0), 0.0, 0.0).has_elements);
}

TEST(ProfileElements, OfRegularWaveformsAreTheirPeriod) {
  const auto sine = profiles::sampled(8000, 0.0005, [](double x) { return profiles::sine(x, 0.05, 0.3); });
  const auto sawtooth =
      profiles::sampled(8000, 0.0005, [](double x) { return 1.0 - 2.0 * std::fmod(x / 0.05 + 0.003, 1.0); });
  const auto pulse = profiles::sampled(
      8000, 0.0005, [](double x) { return std::fmod(x + 1e-5, 0.05) < 0.0125 ? 0.75 : -0.25; });
  for (const auto& z : {sine, sawtooth, pulse}) {
    const ElementParameters found = elements_of(z, 0.1, 0.1, 0.0005);
    EXPECT_NEAR(found.mean_spacing_mm, 0.05, 1e-9);
    EXPECT_NEAR(found.peaks_per_cm, 200.0, 1e-5);
    EXPECT_NEAR(found.spacing_deviation_mm, 0.0, 1e-6);
  }
  EXPECT_NEAR(elements_of(sine, 0.1, 0.1, 0.0005).mean_height_um, 2.0, 1e-3);
}

TEST(ProfileElements, DoNotDependOnTheDirection) {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    auto z = profiles::rough(4000, 0.5, seed % 7, seed);
    for (std::size_t i = 0; i < z.size(); i += 11) z[i] = std::round(z[i]);  // zeros among them
    auto reversed = z;
    std::ranges::reverse(reversed);
    for (const double threshold : {0.0, 0.2, 0.6}) {
      const ElementParameters a = elements_of(z, threshold, 0.7 * threshold, 0.0005);
      const ElementParameters b = elements_of(reversed, threshold, 0.7 * threshold, 0.0005);
      EXPECT_EQ(a.boundary_count, b.boundary_count);
      EXPECT_NEAR(a.mean_spacing_mm, b.mean_spacing_mm, 1e-9);
      EXPECT_NEAR(a.largest_spacing_mm, b.largest_spacing_mm, 1e-9);
      EXPECT_NEAR(a.spacing_deviation_mm, b.spacing_deviation_mm, 1e-9);
      EXPECT_NEAR(a.mean_height_um, b.mean_height_um, 1e-9);
      EXPECT_NEAR(a.largest_height_um, b.largest_height_um, 1e-9);
      EXPECT_NEAR(a.height_deviation_um, b.height_deviation_um, 1e-9);
    }
  }
}

// S. O. Rice, "Mathematical analysis of random noise", Bell System Technical Journal 24 (1945): zero
// crossings of a normal process; sampled at dx the mean distance of upward crossings is 2 pi dx /
// arccos(autocorrelation at dx).
TEST(ProfileElements, OfANormalProcessWithoutThresholdsFollowRice) {
  for (const double correlation : {5.0, 20.0}) {
    double sum = 0.0;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
      sum +=
          elements_of(profiles::rough(20000, 0.5, static_cast<std::size_t>(correlation), seed), 0.0, 0.0, 1.0)
              .mean_spacing_mm;
    }
    const double expected = 2.0 * profiles::kPi / std::acos(std::exp(-1.0 / (correlation * correlation)));
    // 400000 samples hold more than 4500 crossings: 1 % is about one and a half standard deviations of a
    // Poisson process, and crossings of a smooth process scatter less.
    EXPECT_NEAR(sum / 20.0, expected, 0.02 * expected) << correlation;
  }
}

}  // namespace
}  // namespace crestgate::analysis
