// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/single_waves.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

using profiles::sine;

constexpr double kSpacing = 0.002;

SingleWaves find(const std::vector<double>& z, double least_swing_um) {
  SingleWaves found;
  find_single_waves(z, {.spacing_mm = kSpacing, .least_swing_um = least_swing_um}, found);
  return found;
}

std::vector<double> sampled(double length_mm, const std::function<double(double)>& height_um) {
  return profiles::sampled(static_cast<std::size_t>(std::round(length_mm / kSpacing)) + 1, kSpacing,
                           height_um);
}

// A sine of 2 mm has its crests at 0.5, 2.5 ... and its valleys at 1.5, 3.5 ... mm.
TEST(SingleWaves, OfASineStandAtItsCrests) {
  const SingleWaves found = find(sampled(10.0, [](double x) { return 0.7 * sine(x, 2.0); }), 0.1);
  ASSERT_EQ(found.crest_count, 5U);
  ASSERT_EQ(found.wave_count, 4U);
  for (std::size_t k = 0; k < 5; ++k) {
    EXPECT_NEAR(found.crests()[k].at_mm, 0.5 + 2.0 * static_cast<double>(k), 1e-6);
    EXPECT_NEAR(found.crests()[k].height_um, 0.7, 1e-9);
  }
  for (std::size_t k = 0; k < 4; ++k) {
    const SingleWave& wave = found.waves()[k];
    EXPECT_NEAR(wave.start_mm, 1.5 + 2.0 * static_cast<double>(k), 1e-6);
    EXPECT_NEAR(wave.crest_mm, wave.start_mm + 1.0, 1e-6);
    EXPECT_NEAR(wave.end_mm, wave.start_mm + 2.0, 1e-6);
    EXPECT_NEAR(wave.height_um, 1.4, 1e-9);
    EXPECT_NEAR(wave.spacing_mm, 2.0, 1e-6);
  }
  EXPECT_TRUE(found.is_complete());
}

// A crest between two samples: the parabola gives its place.
TEST(SingleWaves, StandBetweenTheSamples) {
  const SingleWaves found = find(sampled(2.0, [](double x) { return sine(x - 0.2507, 2.0); }), 0.1);
  ASSERT_EQ(found.crest_count, 1U);
  EXPECT_NEAR(found.crests()[0].at_mm, 0.7507, 1e-6);
}

TEST(SingleWaves, EachHasItsOwnHeight) {
  // Swelling: 1 + x / 10 times the sine, in closed form up to the slope's small shift of the crests.
  const SingleWaves found = find(sampled(10.0, [](double x) { return (1.0 + 0.1 * x) * sine(x, 2.0); }), 0.1);
  ASSERT_EQ(found.wave_count, 4U);
  for (const SingleWave& wave : found.waves()) {
    const double crest = 1.0 + 0.1 * wave.crest_mm;
    EXPECT_NEAR(wave.height_um, 2.0 * crest, 0.01);
  }
}

TEST(SingleWaves, ARippleBelowTheLeastSwingBelongsToItsNeighbour) {
  const auto z = sampled(10.0, [](double x) { return sine(x, 5.0) + 0.05 * sine(x, 0.3); });
  EXPECT_EQ(find(z, 0.2).crest_count, 2U);
  EXPECT_EQ(find(z, 0.2).wave_count, 1U);
  EXPECT_GT(find(z, 0.01).crest_count, 5U);
}

TEST(SingleWaves, TheEndsOfTheFaceBearNone) {
  // Two whole waves of a cosine: crests at 0, 2 and 4 mm, but only the middle one falls on both sides.
  const SingleWaves found = find(sampled(4.0, [](double x) { return std::cos(profiles::kPi * x); }), 0.1);
  EXPECT_EQ(found.crest_count, 1U);
  EXPECT_EQ(found.wave_count, 1U);
  EXPECT_NEAR(found.crests()[0].at_mm, 2.0, 1e-6);
  EXPECT_EQ(find(sampled(4.0, [](double x) { return x; }), 0.1).crest_count, 0U);
  EXPECT_EQ(find({}, 0.1).crest_count, 0U);
  EXPECT_EQ(find(std::vector<double>(100, 1.0), 0.1).crest_count, 0U);
}

std::vector<double> two_waves(double phase) {
  return sampled(10.0, [=](double x) { return sine(x, 2.1, phase) + 0.6 * sine(x, 1.3, 2.0 * phase + 0.4); });
}

TEST(SingleWaves, AreTheSameFromTheOtherEnd) {
  for (int k = 0; k < 24; ++k) {
    const auto z = two_waves(0.27 * k);
    const SingleWaves there = find(z, 0.3);
    const SingleWaves back = find({z.rbegin(), z.rend()}, 0.3);
    ASSERT_EQ(there.crest_count, back.crest_count) << k;
    ASSERT_EQ(there.wave_count, back.wave_count) << k;
    for (std::size_t i = 0; i < there.wave_count; ++i) {
      const SingleWave& a = there.waves()[i];
      const SingleWave& b = back.waves()[there.wave_count - 1 - i];
      EXPECT_NEAR(a.start_mm, 10.0 - b.end_mm, 1e-9) << k;
      EXPECT_NEAR(a.crest_mm, 10.0 - b.crest_mm, 1e-9) << k;
      EXPECT_NEAR(a.height_um, b.height_um, 1e-12) << k;
    }
  }
}

TEST(SingleWaves, UpsideDownTheCrestsAreTheValleys) {
  for (int k = 0; k < 24; ++k) {
    auto z = two_waves(0.27 * k);
    const SingleWaves up = find(z, 0.3);
    for (double& height_um : z) height_um = -height_um;
    const SingleWaves down = find(z, 0.3);
    ASSERT_EQ(up.wave_count + 1, down.crest_count) << k;
    for (std::size_t i = 0; i < up.wave_count; ++i) {
      EXPECT_NEAR(up.waves()[i].start_mm, down.crests()[i].at_mm, 1e-12) << k;
      EXPECT_NEAR(up.waves()[i].end_mm, down.crests()[i + 1].at_mm, 1e-12) << k;
    }
  }
}

TEST(SingleWaves, AreTheSameWithAStride) {
  for (int k = 0; k < 24; ++k) {
    const auto z = two_waves(0.27 * k);
    const SingleWaves all = find(z, 0.3);
    SingleWaves some;
    find_single_waves(z, {.spacing_mm = kSpacing, .least_swing_um = 0.3, .stride = 10}, some);
    ASSERT_EQ(all.crest_count, some.crest_count) << k;
    ASSERT_EQ(all.wave_count, some.wave_count) << k;
    for (std::size_t i = 0; i < all.wave_count; ++i) {
      EXPECT_EQ(all.waves()[i].crest_mm, some.waves()[i].crest_mm) << k;
      EXPECT_EQ(all.waves()[i].height_um, some.waves()[i].height_um) << k;
    }
  }
}

TEST(SingleWaves, BeyondTheCapacityAreCountedOnly) {
  const SingleWaves found = find(sampled(100.0, [](double x) { return sine(x, 0.5); }), 0.1);
  EXPECT_EQ(found.crest_count, 200U);
  EXPECT_EQ(found.wave_count, 199U);
  EXPECT_EQ(found.crests().size(), SingleWaves::kCapacity);
  EXPECT_EQ(found.waves().size(), SingleWaves::kCapacity);
  EXPECT_FALSE(found.is_complete());
}

}  // namespace
}  // namespace crestgate::analysis
