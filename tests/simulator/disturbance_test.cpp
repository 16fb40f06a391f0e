// SPDX-License-Identifier: Apache-2.0
// Falsified readings against their closed forms.

#include "simulator/stylus/disturbance.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <gtest/gtest.h>

namespace crestgate::simulator {
namespace {

constexpr double kNothing = std::numeric_limits<double>::quiet_NaN();

std::vector<double> ramp(std::size_t count) {
  std::vector<double> z(count);
  for (std::size_t i = 0; i < count; ++i) z[i] = 0.01 * static_cast<double>(i);
  return z;
}

TEST(Disturbance, AStuckStylusKeepsItsLastReading) {
  RandomStream random(1);
  std::vector<double> z = ramp(100);
  stick(z, 40, 0.0, random);
  EXPECT_EQ(z[38], 0.38);
  for (std::size_t i = 39; i < z.size(); ++i) EXPECT_EQ(z[i], 0.39);
}

TEST(Disturbance, AStuckStylusMayStillHaveTheNoiseOfThePickup) {
  RandomStream random(1);
  std::vector<double> z(20'001, 5.0);
  stick(z, 1, 0.02, random);
  double squares = 0.0;
  for (std::size_t i = 1; i < z.size(); ++i) squares += (z[i] - 5.0) * (z[i] - 5.0);
  // Rq of n values is known to 1 / sqrt(2 n).
  EXPECT_NEAR(std::sqrt(squares / 20'000.0), 0.02, 5.0 * 0.02 / std::sqrt(40'000.0));
}

TEST(Disturbance, AThrownStylusFliesAParabolaAboveTheChord) {
  RandomStream random(1);
  std::vector<double> z = ramp(1001);
  lift_off(z, {.over = {.first = 200, .end = 601}, .height_um = 3.0, .noise_um = 0.0}, random);
  const std::vector<double> surface = ramp(1001);
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double t = (static_cast<double>(i) - 200.0) / 400.0;
    const double flight = i >= 200 && i <= 600 ? 12.0 * t * (1.0 - t) : 0.0;
    EXPECT_NEAR(z[i], surface[i] + flight, 1e-12) << i;  // the chord of a ramp is the ramp
  }
  EXPECT_NEAR(z[400], 4.0 + 3.0, 1e-12);
}

TEST(Disturbance, AFlightIsNeverBelowTheSurface) {
  RandomStream random(1);
  std::vector<double> z(1000, 0.0);
  z[500] = 50.0;
  lift_off(z, {.over = {.first = 400, .end = 600}, .height_um = 3.0, .noise_um = 0.0}, random);
  EXPECT_EQ(z[500], 50.0);
}

TEST(Disturbance, VibrationAddsOneSine) {
  std::vector<double> z(1000, 2.0);
  vibrate(z, {.amplitude_um = 0.3, .wavelength_mm = 0.05, .spacing_mm = 0.0005, .phase_turns = 0.25});
  for (std::size_t i = 0; i < z.size(); ++i) {  // 100 samples a wave, begun at its crest
    EXPECT_NEAR(z[i], 2.0 + 0.3 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / 100.0), 1e-12);
  }
}

TEST(Disturbance, AGainMultipliesAndMayDriftAlongTheTrace) {
  std::vector<double> z = {1.0, 1.0, -2.0, kNothing};
  change_gain(z, {.first = 1.5, .per_sample = 0.25});
  EXPECT_DOUBLE_EQ(z[0], 1.5);
  EXPECT_DOUBLE_EQ(z[1], 1.75);
  EXPECT_DOUBLE_EQ(z[2], -4.0);
  EXPECT_TRUE(std::isnan(z[3]));
}

TEST(Disturbance, WhereNothingWasFoundNothingIsInvented) {
  RandomStream random(1);
  std::vector<double> z(100, kNothing);
  lift_off(z, {.over = {.first = 20, .end = 60}, .height_um = 3.0, .noise_um = 0.1}, random);
  vibrate(z, {.amplitude_um = 0.3, .wavelength_mm = 0.05, .spacing_mm = 0.0005, .phase_turns = 0.0});
  stick(z, 50, 0.1, random);
  EXPECT_TRUE(std::all_of(z.begin(), z.end(), [](double v) { return std::isnan(v); }));
}

}  // namespace
}  // namespace crestgate::simulator
