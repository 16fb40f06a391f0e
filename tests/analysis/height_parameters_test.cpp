// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/height_parameters.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

using profiles::kPi;

// Computed by hand.
TEST(HeightParameters, OfHandVectorH1) {
  std::vector<double> z;
  for (int period = 0; period < 2; ++period) z.insert(z.end(), {0, 1, 2, 1, 0, -1, -2, -1});
  const HeightParameters found = height_parameters(z);
  EXPECT_DOUBLE_EQ(found.arithmetic_mean_um, 1.0);
  EXPECT_DOUBLE_EQ(found.root_mean_square_um, std::sqrt(1.5));
  EXPECT_DOUBLE_EQ(found.skewness, 0.0);
  EXPECT_NEAR(found.kurtosis, 2.0, 1e-15);
}

// Computed by hand: sums of powers 248, -696 and 10424 over 12 samples.
TEST(HeightParameters, OfHandVectorH2) {
  const std::vector<double> z{3, 1, 4, 1, -5, -9, 2, 6, -5, 3, -5, 4};
  const HeightParameters found = height_parameters(z);
  EXPECT_DOUBLE_EQ(found.arithmetic_mean_um, 4.0);
  EXPECT_NEAR(found.root_mean_square_um, 4.546060566, 5e-10);
  EXPECT_NEAR(found.skewness, -0.617337049, 5e-10);
  EXPECT_NEAR(found.kurtosis, 2.033818939, 5e-10);
  EXPECT_DOUBLE_EQ(found.highest_um - found.lowest_um, 15.0);
}

struct Waveform {
  const char* name;
  double (*height)(double u);  // u in 0 .. 1 along one period
  double ra;
  double rq;
  double rsk;
  double rku;
};

double cusps(double u) {
  const double x = 2.0 * u - 1.0;
  return x * x - 1.0 / 3.0;
}

// Closed forms of one period: integrals of the waveform's powers. 20000 midpoints: midpoint rule, error below
// 1e-8 for the continuous ones; the steps fall between samples.
TEST(HeightParameters, OfWaveformsInClosedForm) {
  const double d = 0.25;
  const Waveform rows[] = {
      {"sine", [](double u) { return std::sin(2.0 * kPi * u); }, 2.0 / kPi, std::sqrt(0.5), 0.0, 1.5},
      {"triangle", [](double u) { return 4.0 * std::abs(u - 0.5) - 1.0; }, 0.5, 1.0 / std::sqrt(3.0), 0.0,
       1.8},
      {"square", [](double u) { return u < 0.5 ? 1.0 : -1.0; }, 1.0, 1.0, 0.0, 1.0},
      {"sawtooth", [](double u) { return 2.0 * u - 1.0; }, 0.5, 1.0 / std::sqrt(3.0), 0.0, 1.8},
      {"cusps", cusps, 4.0 / (9.0 * std::sqrt(3.0)), 2.0 / (3.0 * std::sqrt(5.0)), 2.0 * std::sqrt(5.0) / 7.0,
       15.0 / 7.0},
      {"pulse", [](double u) { return u < 0.25 ? 0.75 : -0.25; }, 2.0 * d * (1.0 - d),
       std::sqrt(d * (1.0 - d)), (1.0 - 2.0 * d) / std::sqrt(d * (1.0 - d)), 1.0 / (d * (1.0 - d)) - 3.0}};
  for (const Waveform& row : rows) {
    std::vector<double> z(20000);
    for (std::size_t i = 0; i < z.size(); ++i) z[i] = row.height((static_cast<double>(i) + 0.5) / 20000.0);
    const HeightParameters found = height_parameters(z);
    EXPECT_NEAR(found.arithmetic_mean_um, row.ra, 1e-8) << row.name;
    EXPECT_NEAR(found.root_mean_square_um, row.rq, 1e-8) << row.name;
    EXPECT_NEAR(found.skewness, row.rsk, 1e-7) << row.name;
    EXPECT_NEAR(found.kurtosis, row.rku, 1e-7) << row.name;
  }
}

TEST(HeightParameters, KeepTheLineTheyWereGiven) {
  const std::vector<double> z{3.0, 3.0, 3.0};  // not centred again
  const HeightParameters found = height_parameters(z);
  EXPECT_DOUBLE_EQ(found.arithmetic_mean_um, 3.0);
  EXPECT_DOUBLE_EQ(found.lowest_um, 3.0);
  EXPECT_TRUE(found.has_shape);
}

TEST(HeightParameters, HaveNoShapeOnAZeroProfile) {
  const std::vector<double> z(10, 0.0);
  const HeightParameters found = height_parameters(z);
  EXPECT_FALSE(found.has_shape);
  EXPECT_EQ(found.root_mean_square_um, 0.0);
}

TEST(HeightParameters, ScaleWithHeightAndMirror) {
  const std::vector<double> z = profiles::rough(1000, 1.0, 3, 5);
  std::vector<double> mirrored;
  for (const double value : z) mirrored.push_back(-4.0 * value);
  const HeightParameters a = height_parameters(z);
  const HeightParameters b = height_parameters(mirrored);
  EXPECT_DOUBLE_EQ(b.arithmetic_mean_um, 4.0 * a.arithmetic_mean_um);
  EXPECT_DOUBLE_EQ(b.root_mean_square_um, 4.0 * a.root_mean_square_um);
  EXPECT_DOUBLE_EQ(b.skewness, -a.skewness);
  EXPECT_DOUBLE_EQ(b.kurtosis, a.kurtosis);
  EXPECT_DOUBLE_EQ(b.highest_um, -4.0 * a.lowest_um);
}

}  // namespace
}  // namespace crestgate::analysis
