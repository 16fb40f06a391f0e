// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/material_ratio_curve.h"

namespace crestgate::analysis {
namespace {

std::vector<double> sorted(const std::vector<double>& z) {
  std::vector<double> falling(z.size());
  SortWorkspace workspace;
  sort_falling(z, falling, workspace);
  return falling;
}

// Closed form: Rmr(c) = arccos(c / A) / pi, Rmc(p) = A cos(pi p). Sampling: half a rank, 1 / (2 N), times the
// slope.
TEST(MaterialRatioCurve, OfASineInClosedForm) {
  const auto z =
      sorted(profiles::sampled(100000, 1e-5, [](double x) { return profiles::sine(x, 1.0, 0.123); }));
  const MaterialRatioCurve curve(z);
  EXPECT_NEAR(curve.ratio_at(0.9), 0.14356629, 2e-5);
  EXPECT_NEAR(curve.ratio_at(0.5), 0.33333333, 2e-5);
  EXPECT_NEAR(curve.ratio_at(0.25), 0.41956938, 2e-5);
  EXPECT_NEAR(curve.ratio_at(0.0), 0.5, 2e-5);
  EXPECT_NEAR(curve.ratio_at(-0.5), 0.66666667, 2e-5);
  EXPECT_NEAR(curve.height_at(0.02) - curve.height_at(0.98), 1.996053, 2e-5);
  EXPECT_NEAR(curve.height_at(0.25) - curve.height_at(0.75), 1.414214, 5e-5);
  EXPECT_NEAR(curve.ratio_at(curve.height_at(0.05) - 0.5), 0.33784025, 2e-5);
  EXPECT_NEAR(curve.ratio_at(curve.height_at(0.05) - 1.0), 0.50391902, 2e-5);
}

TEST(MaterialRatioCurve, CountsAllSamplesThatShareAHeight) {
  const std::vector<double> z{1.0, 1.0, 1.0, -1.0, -1.0, -1.0, -1.0, -1.0};
  const MaterialRatioCurve curve(z);
  EXPECT_DOUBLE_EQ(curve.ratio_at(1.0), 2.5 / 8.0);
  EXPECT_DOUBLE_EQ(curve.ratio_at(0.0), 3.0 / 8.0);
  EXPECT_DOUBLE_EQ(curve.ratio_at(-1.0), 1.0);
}

TEST(MaterialRatioCurve, IsZeroAboveTheHighestAndWholeBelowTheLowestSample) {
  const std::vector<double> z{2.0, 0.0, -2.0};
  const MaterialRatioCurve curve(z);
  EXPECT_EQ(curve.ratio_at(2.5), 0.0);
  EXPECT_EQ(curve.ratio_at(-2.5), 1.0);
  EXPECT_EQ(curve.height_at(0.0), 2.0);
  EXPECT_EQ(curve.height_at(1.0), -2.0);
}

TEST(MaterialRatioCurve, NeverFallsWithDepthAndInvertsItself) {
  const auto z = sorted(profiles::rough(4000, 0.7, 4, 99));
  const MaterialRatioCurve curve(z);
  double last = -1.0;
  for (double height = 3.0; height > -3.0; height -= 0.01) {
    const double ratio = curve.ratio_at(height);
    EXPECT_GE(ratio, last);
    last = ratio;
    if (height < z.front() && height > z.back()) {
      EXPECT_NEAR(curve.height_at(ratio), height, 1e-12);
    }
  }
}

TEST(MaterialRatioCurve, ASpikeHardlyMovesARatioThatCountsFromAReference) {
  auto profile = profiles::golden_g1();
  const auto plain = sorted(profile);
  profile[4321] = 10.0;
  const auto spiked = sorted(profile);
  const auto relative = [](const std::vector<double>& z) {
    const MaterialRatioCurve curve(z);
    return 100.0 * curve.ratio_at(curve.height_at(0.02) - 1.0);
  };
  EXPECT_NEAR(relative(spiked), relative(plain), 0.05);
}

}  // namespace
}  // namespace crestgate::analysis
