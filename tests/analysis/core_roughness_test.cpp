// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/core_roughness.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

CoreRoughness core_of(std::vector<double> z) {
  std::sort(z.begin(), z.end(), std::greater<>());
  return core_roughness(MaterialRatioCurve(z));
}

// The quantile function of the standard normal by bisection of erfc: slow and obvious.
double normal_quantile(double p) {
  double low = -9.0;
  double high = 9.0;
  for (int i = 0; i < 80; ++i) {
    const double middle = 0.5 * (low + high);
    (0.5 * std::erfc(-middle / std::sqrt(2.0)) < p ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

// A curve given by its height at ratio p, at 20000 ranks.
CoreRoughness core_of_curve(const std::function<double(double)>& height) {
  std::vector<double> z;
  for (int k = 0; k < 20000; ++k) z.push_back(height((k + 0.5) / 20000.0));
  return core_of(z);
}

// Computed by hand: m = 4, the third secant is the flattest, least-squares slope -3.5.
TEST(CoreRoughness, OfHandVectorH3) {
  const CoreRoughness found = core_of({10, 6, 5, 4.5, 4.2, 4.0, 3.5, 2, 0, -5});
  EXPECT_NEAR(found.core_um, 3.5, 1e-12);
  EXPECT_NEAR(found.upper_ratio, 0.1685, 1e-11);
  EXPECT_NEAR(found.lower_ratio, 0.729, 1e-11);
  EXPECT_NEAR(found.peak_area_um, 0.437, 1e-12);
  EXPECT_NEAR(found.valley_area_um, 0.9945, 1e-12);
  EXPECT_NEAR(found.reduced_peak_um, 5.186944, 5e-7);
  EXPECT_NEAR(found.reduced_valley_um, 7.339483, 5e-7);
  EXPECT_NEAR(found.peak_beyond_um, 10.0 - 5.815, 1e-12);
  EXPECT_NEAR(found.valley_beyond_um, 2.315 + 5.0, 1e-12);
}

struct Exact {
  const char* name;
  std::function<double(double)> height;
  double rk, rpk, rvk, mr1, mr2;
};

// Exact curves by quadrature (independent, continuous p). The secant in place of the least-squares line would
// give 2.622003 for the normal and 1.727458 for the sine.
TEST(CoreRoughness, OfExactDistributions) {
  const Exact rows[] = {
      {"sine", [](double p) { return std::cos(profiles::kPi * p); }, 1.774702, 0.0, 0.443918, 0.0,
       0.73068941},
      {"triangle", [](double p) { return 1.0 - 2.0 * p; }, 2.0, 0.0, 0.0, 0.0, 1.0},
      {"square", [](double p) { return p < 0.5 ? 1.0 : -1.0; }, 0.0, 0.0, 4.0, 0.0, 0.5},
      {"cusps", [](double p) { return (1.0 - p) * (1.0 - p); }, 0.4, 0.576229, 0.0, 0.38898991, 1.0},
      {"cusps upside down", [](double p) { return 1.0 - p * p; }, 0.4, 0.0, 0.576229, 0.0, 0.61101009},
      {"normal", [](double p) { return normal_quantile(1.0 - p); }, 2.573956108, 0.945030726, 0.945030726,
       0.09905096876, 0.90094903124}};
  for (const Exact& row : rows) {
    const CoreRoughness found = core_of_curve(row.height);
    EXPECT_NEAR(found.core_um, row.rk, 3e-4) << row.name;
    EXPECT_NEAR(found.reduced_peak_um, row.rpk, 1e-3) << row.name;
    EXPECT_NEAR(found.reduced_valley_um, row.rvk, 1e-3) << row.name;
    EXPECT_NEAR(found.upper_ratio, row.mr1, 1e-4) << row.name;
    EXPECT_NEAR(found.lower_ratio, row.mr2, 1e-4) << row.name;
  }
}

// What the sampled rule gives, by numpy: 8000 exact quantiles, and a sine of 1000 samples a period.
TEST(CoreRoughness, OfSampledCurvesByTheDiscreteRule) {
  std::vector<double> normal;
  for (int k = 0; k < 8000; ++k) normal.push_back(normal_quantile(1.0 - (k + 0.5) / 8000.0));
  const CoreRoughness of_normal = core_of(normal);
  EXPECT_NEAR(of_normal.core_um, 2.574001, 6e-7);
  EXPECT_NEAR(of_normal.reduced_peak_um, 0.944823, 6e-7);
  EXPECT_NEAR(100.0 * of_normal.upper_ratio, 9.904652, 6e-7);
  const CoreRoughness of_sine =
      core_of(profiles::sampled(100000, 0.001, [](double x) { return profiles::sine(x, 1.0); }));
  EXPECT_NEAR(of_sine.core_um, 1.774753, 6e-7);
  EXPECT_NEAR(of_sine.reduced_valley_um, 0.444340, 6e-7);
  EXPECT_NEAR(100.0 * of_sine.lower_ratio, 73.099855, 6e-7);
}

// z = min(g, h), g normal: exact values by quadrature. The flattest 40 % jump to the plateau below h = 1.302.
TEST(CoreRoughness, OfPlateaus) {
  struct Row {
    double h, rk, rpk, rvk, mr1, mr2;
  };
  const Row rows[] = {{2.00, 2.573956, 0.773590, 0.945031, 0.099051, 0.900949},
                      {1.50, 2.573956, 0.353279, 0.945031, 0.099051, 0.900949},
                      {1.00, 2.110913, 0.0, 1.078244, 0.0, 0.824115},
                      {0.75, 1.184180, 0.0, 1.390647, 0.0, 0.621493},
                      {0.50, 0.363510, 0.0, 1.734322, 0.0, 0.428358},
                      {0.25, 0.0, 0.0, 1.791679, 0.0, 0.401294},
                      {0.00, 0.0, 0.0, 1.595769, 0.0, 0.500000}};
  for (const Row& row : rows) {
    const CoreRoughness found =
        core_of_curve([&row](double p) { return std::min(row.h, normal_quantile(1.0 - p)); });
    EXPECT_NEAR(found.core_um, row.rk, 5e-4) << row.h;
    EXPECT_NEAR(found.reduced_peak_um, row.rpk, 1e-3) << row.h;
    EXPECT_NEAR(found.reduced_valley_um, row.rvk, 1.5e-3) << row.h;
    EXPECT_NEAR(found.upper_ratio, row.mr1, 1e-4) << row.h;
    EXPECT_NEAR(found.lower_ratio, row.mr2, 3e-4) << row.h;
  }
}

TEST(CoreRoughness, TheFirstOfTwoEquallyFlatEndsIsTakenAtEveryPhase) {
  for (int phase = 0; phase < 100; ++phase) {
    const auto z = profiles::sampled(8000, 0.01, [phase](double x) {
      return profiles::sine(x, 1.0, 0.0628 * phase + 0.001 * phase * phase);
    });
    const CoreRoughness found = core_of(z);
    EXPECT_EQ(found.reduced_peak_um, 0.0) << phase;
    EXPECT_EQ(found.upper_ratio, 0.0) << phase;
    EXPECT_GT(found.core_um, 1.7712) << phase;
    EXPECT_LT(found.core_um, 1.7769) << phase;
    EXPECT_GT(found.reduced_valley_um, 0.4316) << phase;
    EXPECT_LT(found.reduced_valley_um, 0.4500) << phase;
  }
}

TEST(CoreRoughness, APlateauWithPeaksOnItHasItsPeaksOnTheirOwnBase) {
  // 10 % of the length carries triangles of height 1 on a flat land: base 10 %, area 0.05, Rpk = 2 * 0.05 /
  // 0.1 = 1.
  std::vector<double> z(9000, 0.0);
  for (int k = 0; k < 1000; ++k) z.push_back((k + 0.5) / 1000.0);
  const CoreRoughness found = core_of(z);
  EXPECT_NEAR(found.core_um, 0.0, 1e-12);
  EXPECT_NEAR(found.reduced_peak_um, 1.0, 2e-3);
  EXPECT_NEAR(found.upper_ratio, 0.1, 1e-4);
  EXPECT_EQ(found.reduced_valley_um, 0.0);
}

TEST(CoreRoughness, OfAConstantIsNothingAtAll) {
  const CoreRoughness found = core_of(std::vector<double>(100, 0.3));
  EXPECT_NEAR(found.core_um, 0.0, 1e-15);
  EXPECT_EQ(found.reduced_peak_um, 0.0);
  EXPECT_EQ(found.reduced_valley_um, 0.0);
  EXPECT_EQ(found.upper_ratio, 0.0);
  EXPECT_EQ(found.lower_ratio, 1.0);
}

TEST(CoreRoughness, SwapsPeaksAndValleysWhenTheProfileIsTurnedOver) {
  const std::vector<double> z = profiles::golden_g1();
  std::vector<double> turned;
  for (const double value : z) turned.push_back(-value);
  const CoreRoughness a = core_of(z);
  const CoreRoughness b = core_of(turned);
  EXPECT_NEAR(a.core_um, b.core_um, 1e-9);
  EXPECT_NEAR(a.reduced_peak_um, b.reduced_valley_um, 1e-9);
  EXPECT_NEAR(a.reduced_valley_um, b.reduced_peak_um, 1e-9);
  EXPECT_NEAR(a.upper_ratio, 1.0 - b.lower_ratio, 1e-9);
}

}  // namespace
}  // namespace crestgate::analysis
