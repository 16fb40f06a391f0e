// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/spike_search.h"

#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/faces.h"
#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacingMm = 0.0005;
constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

// Every sample that counts as a spike, with its deviation.
std::vector<std::pair<std::size_t, double>> spikes_of(const std::vector<double>& heights_um,
                                                      const SpikeOptions& options) {
  const auto search = SpikeSearch::prepare(options, kSpacingMm);
  EXPECT_TRUE(search.has_value());
  SpikeWorkspace workspace;
  std::vector<std::pair<std::size_t, double>> found;
  const auto deviation_um = search->find(heights_um, workspace);
  for (std::size_t i = 0; i < deviation_um.size(); ++i) {
    if (deviation_um[i] != 0.0) found.emplace_back(i, deviation_um[i]);
  }
  return found;
}

// By hand from the definition: five samples around sample 5 are 0.1 0.3 10 0.2 0.4, median 0.3, deviations
// 0.2 0 9.7 0.1 0.1, their median 0.1; the other windows' are at most 0.2.
TEST(SpikeSearch, DeviationIsCountedFromTheMedianOfTheWindow) {
  const std::vector<double> z{0.2, 0.1, 0.4, 0.1, 0.3, 10.0, 0.2, 0.4, 0.3, 0.1, 0.2};
  const auto found = spikes_of(z, {.window_um = 2.0, .threshold = 8.0, .least_height_um = 0.1});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].first, 5U);
  EXPECT_DOUBLE_EQ(found[0].second, 9.7);
}

// By hand: the comb 0 0.1 0.2 0.3 has windows with a median deviation of 0.1, a scale of 0.148. The raised
// sample stands among 0 0.1 0.3 0, median 0.1: it deviates by 1.1, all others by 0.2 at most.
TEST(SpikeSearch, ThresholdAndLeastHeightMustBothBeExceeded) {
  std::vector<double> z(101);
  for (std::size_t i = 0; i < z.size(); ++i) z[i] = 0.1 * static_cast<double>(i % 4);
  z[50] += 1.0;
  EXPECT_EQ(spikes_of(z, {.window_um = 2.0, .threshold = 3.0, .least_height_um = 0.2}).size(), 1U);
  EXPECT_TRUE(spikes_of(z, {.window_um = 2.0, .threshold = 3.0, .least_height_um = 1.2}).empty());
  EXPECT_TRUE(spikes_of(z, {.window_um = 2.0, .threshold = 30.0, .least_height_um = 0.2}).empty());
}

TEST(SpikeSearch, TheSuggestedThresholdTakesNothingFromAGroundFace) {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    for (const double spread_um : {0.1, 0.6, 3.0}) {
      const auto z = faces::ground({.spread_um = spread_um, .seed = seed});
      EXPECT_TRUE(spikes_of(z, {}).empty()) << seed << " " << spread_um;
    }
  }
}

TEST(SpikeSearch, TheSuggestedThresholdTakesNothingFromAFinishedFace) {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    for (const double land_um : {-0.6, -0.3, 0.0}) {
      const auto z = faces::finished({.seed = seed}, land_um);
      EXPECT_TRUE(spikes_of(z, {}).empty()) << seed << " " << land_um;
    }
  }
}

TEST(SpikeSearch, TheSuggestedThresholdTakesNothingFromNoiseAndClosedForms) {
  EXPECT_TRUE(spikes_of(profiles::rough(11200, 1.0, 0, 5), {}).empty());
  EXPECT_TRUE(spikes_of(profiles::rough(11200, 1.0, 10, 6), {}).empty());
  EXPECT_TRUE(spikes_of(profiles::golden_g1(), {}).empty());
  EXPECT_TRUE(spikes_of(profiles::sampled(8000, kSpacingMm, [](double x) { return 100.0 * x; }), {}).empty());
  // Sharp ridges and grooves 10 um apart, 45 degrees steep.
  EXPECT_TRUE(
      spikes_of(profiles::sampled(8000, kSpacingMm,
                                  [](double x) { return std::abs(std::fmod(1000.0 * x, 10.0) - 5.0); }),
                {})
          .empty());
}

TEST(SpikeSearch, FindsEverySpikeOfUpToHalfTheWindowAndNothingElse) {
  for (std::uint64_t seed = 1; seed <= 10; ++seed) {
    auto z = faces::ground({.seed = seed});
    std::vector<std::size_t> planted;
    for (std::size_t i = 400; i + 400 < z.size(); i += 500) {
      const std::size_t width = 1 + (i / 500) % 3;
      for (std::size_t k = 0; k < width; ++k) {
        z[i + k] += (i / 500) % 2 == 0 ? 25.0 : -25.0;
        planted.push_back(i + k);
      }
    }
    std::vector<std::size_t> found;
    for (const auto& [place, height_um] : spikes_of(z, {})) found.push_back(place);
    EXPECT_EQ(found, planted) << seed;
  }
}

TEST(SpikeSearch, WhatIsWiderThanHalfTheWindowIsTheSurfaces) {
  auto z = profiles::rough(2000, 0.05, 0, 9);
  for (std::size_t i = 1000; i < 1004; ++i) z[i] += 20.0;  // four samples, half of the window holds three
  EXPECT_TRUE(spikes_of(z, {}).empty());
  z[1003] -= 20.0;
  EXPECT_EQ(spikes_of(z, {}).size(), 3U);
}

TEST(SpikeSearch, MissingSamplesAreNeitherSpikesNorNeighbours) {
  auto z = profiles::rough(2000, 0.05, 0, 9);
  z[999] = kNaN;
  z[1001] = kNaN;
  z[1000] += 20.0;
  z[0] = kNaN;
  const auto found = spikes_of(z, {});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].first, 1000U);
  EXPECT_TRUE(spikes_of(std::vector<double>(100, kNaN), {}).empty());
}

TEST(SpikeSearch, MirroredAndTurnedTracesHaveTheSameSpikes) {
  auto z = faces::ground({.sample_count = 3000, .seed = 4});
  for (const std::size_t i : {500U, 1500U, 1501U, 2999U}) z[i] += 12.0;
  const auto found = spikes_of(z, {});
  std::vector<double> turned(z.rbegin(), z.rend());
  for (double& height_um : turned) height_um = -height_um;
  const auto again = spikes_of(turned, {});
  ASSERT_EQ(again.size(), found.size());
  EXPECT_EQ(found.size(), 4U);
  for (std::size_t i = 0; i < found.size(); ++i) {
    EXPECT_EQ(again[found.size() - 1 - i].first, 2999 - found[i].first);
    EXPECT_DOUBLE_EQ(again[found.size() - 1 - i].second, -found[i].second);
  }
}

TEST(SpikeSearch, RefusesWindowsThatCannotTellSpikesFromSurface) {
  const auto code = [](const SpikeOptions& options, double spacing_mm) {
    const auto search = SpikeSearch::prepare(options, spacing_mm);
    return search.has_value() ? base::ErrorCode::kIo : search.error().code;
  };
  EXPECT_EQ(code({.window_um = 0.0}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.threshold = -1.0}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.least_height_um = kNaN}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.window_um = 3.0}, 0.001), base::ErrorCode::kOutOfRange);  // 3 samples
  EXPECT_EQ(code({.window_um = 3.0}, 1e-6), base::ErrorCode::kOutOfRange);   // 3001 samples
  EXPECT_EQ(code({.window_um = 3.0}, 0.0005), base::ErrorCode::kIo);
}

}  // namespace
}  // namespace crestgate::analysis
