// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/volume_parameters.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/normal_quantile.h"

namespace crestgate::analysis {
namespace {

struct Exact {
  const char* name;
  std::function<double(double)> height;  // at ratio p
  double rvmp, rvmc, rvvc, rvvv;
};

// Closed forms: Vm(p) is phi(x) - x p of the normal (x = height at p), sin(pi p) / pi - p cos(pi p) of the
// sine and p^2 of the triangle; Vv(p) = Vm(p) + height at p for a mean of 0.
TEST(VolumeParameters, OfExactDistributions) {
  const Exact rows[] = {
      {"normal", [](double p) { return normal_quantile(1.0 - p); }, 0.047343, 0.905916, 1.217257, 0.111638},
      {"sine", [](double p) { return std::cos(profiles::kPi * p); }, 0.003258, 0.831054, 0.929020, 0.025294},
      {"triangle", [](double p) { return 1.0 - 2.0 * p; }, 0.01, 0.63, 0.77, 0.04}};
  for (const Exact& row : rows) {
    std::vector<double> falling_um;
    for (int k = 0; k < 200000; ++k) falling_um.push_back(row.height((k + 0.5) / 200000.0));
    const VolumeParameters found = volume_parameters(MaterialRatioCurve(falling_um));
    EXPECT_NEAR(found.peak_material_um, row.rvmp, 2e-6) << row.name;
    EXPECT_NEAR(found.core_material_um, row.rvmc, 2e-6) << row.name;
    EXPECT_NEAR(found.core_void_um, row.rvvc, 2e-6) << row.name;
    EXPECT_NEAR(found.dale_void_um, row.rvvv, 2e-6) << row.name;
  }
}

TEST(VolumeParameters, VoidLessMaterialIsTheHeightAboveTheMean) {
  for (const std::size_t count : {7U, 100U, 1001U}) {
    auto z = profiles::rough(count, 0.7, 2, count);
    double mean = 0.0;
    for (const double value : z) mean += value / static_cast<double>(count);
    std::ranges::sort(z, std::greater<>());
    const MaterialRatioCurve curve(z);
    for (double p = 0.0; p <= 1.0; p += 0.05) {
      const double height = curve.height_at(p);
      EXPECT_NEAR(void_below_um(curve, height) - material_above_um(curve, height), height - mean, 1e-12);
    }
  }
}

TEST(VolumeParameters, AboveEverythingThereIsNoMaterialAndBelowNoVoid) {
  const std::vector<double> falling_um{2.0, 1.0, -1.0, -2.0};
  const MaterialRatioCurve curve(falling_um);
  EXPECT_EQ(material_above_um(curve, 3.0), 0.0);
  EXPECT_EQ(void_below_um(curve, -3.0), 0.0);
  EXPECT_EQ(material_above_um(curve, 0.0), 0.75);
  EXPECT_EQ(void_below_um(curve, 0.0), 0.75);
}

}  // namespace
}  // namespace crestgate::analysis
