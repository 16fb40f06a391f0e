// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/significant_features.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

std::vector<Feature> features_of(const std::vector<double>& z, double prominence_um) {
  std::vector<Feature> features;
  find_features(z, prominence_um, features);
  return features;
}

FeatureParameters parameters_of(const std::vector<double>& z, double prominence_um, double spacing_mm,
                                double half_width_mm, std::size_t run_up = 0) {
  std::vector<Feature> features;
  return feature_parameters({.whole_um = z,
                             .first_sample = run_up,
                             .sample_count = z.size() - 2 * run_up,
                             .spacing_mm = spacing_mm},
                            {.prominence_um = prominence_um, .curvature_half_width_mm = half_width_mm},
                            features);
}

// Whether the profile falls by the prominence on both sides of a peak before it comes higher.
bool is_complete(const std::vector<double>& z, const Feature& feature, double prominence_um) {
  const double sign = feature.is_peak ? 1.0 : -1.0;
  const double top = sign * z[feature.sample];
  const auto falls = [&](auto from, auto to) {
    for (auto i = from; i != to; ++i) {
      if (sign * *i > top) return false;
      if (top - sign * *i >= prominence_um) return true;
    }
    return false;
  };
  const auto here = z.begin() + static_cast<std::ptrdiff_t>(feature.sample);
  return falls(here, z.end()) && falls(std::make_reverse_iterator(here), z.rend());
}

// Wolf pruning as it is written: quadratic, with a list of pairs. No two samples may be equal.
std::vector<Feature> pruned_slowly(const std::vector<double>& z, double prominence_um) {
  std::vector<Feature> list;
  for (std::size_t i = 1; i + 1 < z.size(); ++i) {
    if ((z[i] > z[i - 1]) == (z[i] > z[i + 1])) list.push_back({.sample = i, .is_peak = z[i] > z[i - 1]});
  }
  while (list.size() >= 2) {
    const auto difference = [&](std::size_t k) {
      return std::abs(z[list[k].sample] - z[list[k + 1].sample]);
    };
    std::size_t least = 0;
    for (std::size_t k = 1; k + 1 < list.size(); ++k) {
      if (difference(k) < difference(least)) least = k;
    }
    if (difference(least) >= prominence_um) break;
    const auto first = list.begin() + static_cast<std::ptrdiff_t>(least);
    list.erase(first, first + 2);
  }
  // The outermost two may have their other side beyond the end.
  std::erase_if(list, [&](const Feature& feature) { return !is_complete(z, feature, prominence_um); });
  return list;
}

TEST(FindFeatures, GivesWhatPruningPairByPairGives) {
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    const auto z = profiles::rough(600, 0.5, seed % 6, seed);
    for (const double prominence : {0.01, 0.2, 0.5, 1.0, 2.5}) {
      const auto found = features_of(z, prominence);
      EXPECT_EQ(found, pruned_slowly(z, prominence)) << "seed " << seed << ", prominence " << prominence;
      if (prominence == 0.2) {
        EXPECT_GT(found.size(), 20U);
      }
    }
  }
}

TEST(FindFeatures, OfAShortLineByHand) {
  const std::vector<double> z = {0, 3, 1, 2, -1, 4, 3.5, 3.8, 0};
  const std::vector<Feature> expected = {{1, true}, {4, false}, {5, true}};
  EXPECT_EQ(features_of(z, 1.5), expected);
  const std::vector<Feature> finer = {{1, true}, {2, false}, {3, true}, {4, false}, {5, true}};
  EXPECT_EQ(features_of(z, 1.0), finer);  // a difference that reaches the prominence stays
}

TEST(FindFeatures, AFeatureWhoseOtherSideLiesBeyondTheEndIsIncomplete) {
  EXPECT_TRUE(features_of({3, 0}, 1.0).empty());
  EXPECT_TRUE(features_of({2.5, 3, 0, 0.5}, 1.0).empty());
  const std::vector<Feature> one = {{1, true}};
  EXPECT_EQ(features_of({2, 3, 0, 0.5}, 1.0), one);
  EXPECT_TRUE(features_of({1.0}, 1.0).empty());
}

TEST(FindFeatures, ALevelTopIsOneFeatureAtItsMiddle) {
  const std::vector<double> z = {0, 2, 2, 2, 2, 2, 0, -1, -1, 1};
  const std::vector<Feature> expected = {{3, true}, {7, false}};
  EXPECT_EQ(features_of(z, 1.0), expected);
}

TEST(FindFeatures, ALevelProfileHasNone) {
  EXPECT_TRUE(features_of(std::vector<double>(50, 1.0), 0.1).empty());
}

TEST(FindFeatures, AreMirroredWithTheProfile) {
  const auto z = profiles::rough(3000, 0.5, 3, 5);
  auto turned = z;
  for (double& value : turned) value = -value;
  auto expected = features_of(z, 0.3);
  for (Feature& feature : expected) feature.is_peak = !feature.is_peak;
  EXPECT_EQ(features_of(turned, 0.3), expected);
  auto reversed = z;
  std::ranges::reverse(reversed);
  auto backwards = features_of(reversed, 0.3);
  std::ranges::reverse(backwards);
  const auto found = features_of(z, 0.3);
  ASSERT_EQ(backwards.size(), found.size());
  for (std::size_t k = 0; k < found.size(); ++k)
    EXPECT_EQ(z.size() - 1 - backwards[k].sample, found[k].sample);
}

// z = A sin: one peak and one pit a period; curvature A (2 pi / l)^2 at each. A parabola over +-h sees
// 1 - (2 pi h / l)^2 / 14 of it or so.
TEST(FeatureParameters, OfASineInClosedForm) {
  const double wavelength_mm = 0.1;
  const auto z =
      profiles::sampled(8000, 0.0005, [&](double x) { return 2.0 * profiles::sine(x, wavelength_mm, 0.3); });
  const FeatureParameters found = parameters_of(z, 0.2, 0.0005, 0.0025);
  EXPECT_EQ(found.peak_count, 40U);
  EXPECT_EQ(found.pit_count, 40U);
  EXPECT_DOUBLE_EQ(found.peak_density_per_mm, 10.0);
  EXPECT_DOUBLE_EQ(found.pit_density_per_mm, 10.0);
  const double curvature_per_mm = 0.002 * std::pow(2.0 * profiles::kPi / wavelength_mm, 2);
  EXPECT_NEAR(found.peak_curvature_per_mm, curvature_per_mm, 3e-3 * curvature_per_mm);
  EXPECT_NEAR(found.pit_curvature_per_mm, curvature_per_mm, 3e-3 * curvature_per_mm);
  EXPECT_NEAR(found.five_peak_height_um, 2.0, 1e-3);
  EXPECT_NEAR(found.five_pit_depth_um, 2.0, 1e-3);
  EXPECT_NEAR(found.ten_point_height_um, 4.0, 2e-3);
}

TEST(FeatureParameters, TheCurvatureOfParabolasIsExactWhateverTheWindow) {
  // Arches 1 - 50 x^2 over 0.2 mm: z'' = -100 um / mm^2 = -0.1 / mm; with a kink between them.
  const auto z = profiles::sampled(2001, 0.001, [](double x) {
    const double u = std::fmod(x, 0.2) - 0.1;
    return 1.0 - 50.0 * u * u;
  });
  for (const double half_width_mm : {0.001, 0.004, 0.05, 0.099}) {
    const FeatureParameters found = parameters_of(z, 0.1, 0.001, half_width_mm);
    EXPECT_NEAR(found.peak_curvature_per_mm, 0.1, 1e-8) << half_width_mm;
  }
}

TEST(FeatureParameters, AWindowNarrowerThanTheSpacingHasNoCurvature) {
  const FeatureParameters found = parameters_of({-2, 1, -3, 0, -4}, 1.0, 0.01, 0.009);
  EXPECT_EQ(found.peak_count, 2U);
  EXPECT_FALSE(found.has_peak_curvature);
  EXPECT_FALSE(found.has_pit_curvature);
}

TEST(FeatureParameters, AWindowOfOneSpacingUsesOneNeighbourOnEachSide) {
  const FeatureParameters found = parameters_of({-2, 1, -3, 0, -4}, 1.0, 0.01, 0.01);
  // (z(-1) - 2 z(0) + z(1)) / dx^2 in um / mm^2: -7 / 1e-4 at both peaks, 7 / 1e-4 at the pit.
  EXPECT_NEAR(found.peak_curvature_per_mm, 70.0, 1e-9);
  EXPECT_NEAR(found.pit_curvature_per_mm, 70.0, 1e-9);
}

TEST(FeatureParameters, TheWindowMayReachIntoTheRunUpButNotBeyondTheTrace) {
  std::vector<double> z(60, 0.0);
  for (const std::size_t peak : {12U, 30U, 47U}) z[peak] = 5.0;
  const FeatureParameters inside = parameters_of(z, 1.0, 0.001, 0.008, 10);
  EXPECT_EQ(inside.peak_count, 3U);
  EXPECT_TRUE(inside.has_peak_curvature);
  const FeatureParameters beyond = parameters_of(z, 1.0, 0.001, 0.020, 10);
  EXPECT_EQ(beyond.peak_count, 3U);
  EXPECT_TRUE(beyond.has_peak_curvature);  // of the middle one alone
  const FeatureParameters none = parameters_of(z, 1.0, 0.001, 0.031, 10);
  EXPECT_EQ(none.peak_count, 3U);
  EXPECT_FALSE(none.has_peak_curvature);
  EXPECT_EQ(none.peak_curvature_per_mm, 0.0);
}

TEST(FeatureParameters, TenPointHeightsNeedFiveOfEach) {
  std::vector<double> z;
  for (const double peak : {1.0, 6.0, 3.0, 5.0, 2.0, 4.0}) z.insert(z.end(), {-1.0, peak});
  z.push_back(-1.0);
  const FeatureParameters six = parameters_of(z, 0.5, 0.001, 0.001);
  EXPECT_TRUE(six.has_five_peaks);
  EXPECT_DOUBLE_EQ(six.five_peak_height_um, 4.0);  // (6 + 5 + 4 + 3 + 2) / 5
  EXPECT_TRUE(six.has_five_pits);                  // the two at the ends are incomplete
  EXPECT_DOUBLE_EQ(six.five_pit_depth_um, 1.0);
  EXPECT_DOUBLE_EQ(six.ten_point_height_um, 5.0);
  z.resize(z.size() - 2);
  const FeatureParameters five = parameters_of(z, 0.5, 0.001, 0.001);
  EXPECT_TRUE(five.has_five_peaks);
  EXPECT_DOUBLE_EQ(five.five_peak_height_um, 3.4);
  EXPECT_FALSE(five.has_five_pits);
  EXPECT_EQ(five.ten_point_height_um, 0.0);
}

TEST(FeatureParameters, WithoutAProminenceThereAreNone) {
  const FeatureParameters found = parameters_of(std::vector<double>(50, 0.0), 0.0, 0.001, 0.001);
  EXPECT_EQ(found.peak_count, 0U);
  EXPECT_EQ(found.pit_density_per_mm, 0.0);
  EXPECT_FALSE(found.has_peak_curvature);
}

}  // namespace
}  // namespace crestgate::analysis
