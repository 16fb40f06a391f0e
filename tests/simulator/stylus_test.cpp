// SPDX-License-Identifier: Apache-2.0

#include "simulator/stylus/stylus.h"

#include <cmath>
#include <numeric>

#include <gtest/gtest.h>

#include "base/traverse.h"

namespace crestgate::simulator {
namespace {

Face sloped_face(double slope_um_per_mm) {
  Face face{.grid_um = 0.25, .first_mm = -2.0, .heights_um = std::vector<double>(16'001)};
  for (std::size_t i = 0; i < face.heights_um.size(); ++i) {
    face.heights_um[i] = slope_um_per_mm * (face.first_mm + 0.00025 * static_cast<double>(i));
  }
  return face;
}

Pass pass_of(std::size_t samples) {
  return {.samples = samples, .spacing_mm = 0.0005, .speed_mm_per_s = 0.5, .alignment = {}, .noise_seed = 1};
}

constexpr StylusTraits kIdeal{
    .tip = {}, .noise_um = 0.0, .gain = 1.0, .drift_um_per_s = 0.0, .range_um = 1000.0, .step_pm = 1000};

TEST(Stylus, TracesTheMiddleOfTheFace) {
  const Trace trace = trace_pass(sloped_face(10.0), kIdeal, pass_of(2001));
  EXPECT_EQ(trace.counts.front(), -5000);  // 10 um/mm at -0.5 mm in steps of 1 nm
  EXPECT_EQ(trace.counts[1000], 0);
  EXPECT_EQ(trace.counts.back(), 5000);
  EXPECT_FALSE(trace.over_range);
}

TEST(Stylus, RoundsToItsStep) {
  StylusTraits coarse = kIdeal;
  coarse.step_pm = 50'000;
  EXPECT_EQ(trace_pass(sloped_face(10.0), coarse, pass_of(2001)).counts.front(), -100);
}

TEST(Stylus, InterpolatesBetweenGridPoints) {
  Pass pass = pass_of(11);
  pass.spacing_mm = 0.0001;  // 0.1 um on a grid of 0.25 um
  const Trace trace = trace_pass(sloped_face(1000.0), kIdeal, pass);
  for (int i = 0; i < 11; ++i) EXPECT_EQ(trace.counts[static_cast<std::size_t>(i)], 100 * (i - 5));
}

TEST(Stylus, GainTiltDriftAndShiftAddUp) {
  StylusTraits traits = kIdeal;
  traits.gain = 1.02;
  traits.drift_um_per_s = 0.3;
  Pass pass = pass_of(2001);  // 1 mm in 2 s
  pass.alignment = {.tilt_um_per_mm = 2.0, .shift_mm = 0.25};
  const Trace trace = trace_pass(sloped_face(10.0), traits, pass);
  EXPECT_EQ(trace.counts.front(), std::lround(1000.0 * 1.02 * (10.0 * -0.25 + 2.0 * -0.5)));
  EXPECT_EQ(trace.counts.back(), std::lround(1000.0 * (1.02 * (10.0 * 0.75 + 2.0 * 0.5) + 0.3 * 2.0)));
}

TEST(Stylus, NoiseHasItsRootMeanSquareAndItsSeed) {
  StylusTraits noisy = kIdeal;
  noisy.noise_um = 0.02;
  Pass pass = pass_of(7001);
  const Trace first = trace_pass(sloped_face(0.0), noisy, pass);
  double squares = 0.0;
  for (const std::int32_t count : first.counts) squares += 1e-6 * count * count;
  EXPECT_NEAR(std::sqrt(squares / 7001.0), 0.02, 5.0 * 0.02 / std::sqrt(2.0 * 7001.0));
  EXPECT_EQ(first.counts, trace_pass(sloped_face(0.0), noisy, pass).counts);
  pass.noise_seed = 2;
  EXPECT_NE(first.counts, trace_pass(sloped_face(0.0), noisy, pass).counts);
}

TEST(Stylus, BeyondItsRangeAndBeyondTheEdgeItStandsAtItsEndStop) {
  StylusTraits narrow = kIdeal;
  narrow.range_um = 8.0;
  const Trace steep = trace_pass(sloped_face(10.0), narrow, pass_of(2001));
  EXPECT_TRUE(steep.over_range);
  EXPECT_EQ(steep.counts.front(), base::kOverRangeCount);
  EXPECT_EQ(steep.counts[200], -4000);  // exactly at the border: still a height
  EXPECT_EQ(steep.counts[199], base::kOverRangeCount);

  const Trace wide = trace_pass(sloped_face(0.0), kIdeal, pass_of(10'001));  // 5 mm on a face of 4 mm
  EXPECT_EQ(wide.counts[999], base::kOverRangeCount);
  EXPECT_EQ(wide.counts[1000], 0);
  EXPECT_EQ(wide.counts[9000], 0);
  EXPECT_EQ(wide.counts[9001], base::kOverRangeCount);
}

TEST(Stylus, NothingUnderItIsTheEndStopAllAlong) {
  const Trace trace = counts_of(read_nothing(3), {});
  EXPECT_EQ(trace.counts, std::vector<std::int32_t>(3, base::kOverRangeCount));
  EXPECT_TRUE(trace.over_range);
}

}  // namespace
}  // namespace crestgate::simulator
