// SPDX-License-Identifier: Apache-2.0
// Independent normal heights: the more of them, the nearer the numbers come to those of the infinite surface.
#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/normal_quantile.h"
#include "analysis/texture/profile_analysis.h"

namespace crestgate::analysis {
namespace {

struct Expected {
  const char* symbol;
  double value;
};

// Closed forms: see core_roughness_test, volume_parameters_test; Ra / Rq = sqrt(2 / pi).
constexpr std::array kExpected = {Expected{"Ra", 0.7978845608},
                                  Expected{"Rq", 1.0},
                                  Expected{"Rsk", 0.0},
                                  Expected{"Rku", 3.0},
                                  Expected{"Rk", 2.573956108},
                                  Expected{"Rpk", 0.945030726},
                                  Expected{"Rvk", 0.945030726},
                                  Expected{"Rmrk1", 0.09905096876},
                                  Expected{"Rmrk2", 0.90094903124},
                                  Expected{"Rvmp", 0.047343},
                                  Expected{"Rvmc", 0.905916},
                                  Expected{"Rvvc", 1.217257},
                                  Expected{"Rvvv", 0.111638}};
using Values = std::array<double, kExpected.size()>;

constexpr int kRepeats = 200;

struct Statistics {
  Values mean{};
  Values deviation{};
};

Statistics statistics_at(std::size_t samples) {
  const auto analysis = ProfileAnalysis::prepare(
      {.spacing_mm = 0.0005,
       .sample_count = samples,
       .evaluated_samples = samples,
       .families = {ParameterFamily::kHeights, ParameterFamily::kCurve, ParameterFamily::kVolumes}});
  EXPECT_TRUE(analysis.has_value());
  ProfileWorkspace workspace;
  ProfileNumbers n;
  Values sums{};
  Values squares{};
  for (int repeat = 0; repeat < kRepeats; ++repeat) {
    analysis->run(profiles::rough(samples, 1.0, 0, 77U * samples + static_cast<std::size_t>(repeat)),
                  workspace, n);
    const Values values = {n.heights.arithmetic_mean_um,
                           n.heights.root_mean_square_um,
                           n.heights.skewness,
                           n.heights.kurtosis,
                           n.core.core_um,
                           n.core.reduced_peak_um,
                           n.core.reduced_valley_um,
                           n.core.upper_ratio,
                           n.core.lower_ratio,
                           n.volumes.peak_material_um,
                           n.volumes.core_material_um,
                           n.volumes.core_void_um,
                           n.volumes.dale_void_um};
    for (std::size_t i = 0; i < values.size(); ++i) {
      const double off = values[i] - kExpected[i].value;
      sums[i] += off / kRepeats;
      squares[i] += off * off / kRepeats;
    }
  }
  Statistics found;
  for (std::size_t i = 0; i < sums.size(); ++i) {
    found.mean[i] = sums[i];
    found.deviation[i] = std::sqrt(squares[i] - sums[i] * sums[i]);
  }
  return found;
}

TEST(NormalSurface, ScatterHalvesWithFourTimesTheSamplesAndBiasFallsFaster) {
  Statistics last;
  for (const std::size_t samples : {1000U, 4000U, 16000U}) {
    const Statistics here = statistics_at(samples);
    for (std::size_t i = 0; i < kExpected.size(); ++i) {
      const std::string what = std::string(kExpected[i].symbol) + " of " + std::to_string(samples);
      // The choice of the flattest secant pulls the Rk family by a few parts in 1 / n^(2/3); the rest is the
      // scatter of a mean over the repeats.
      const double n = static_cast<double>(samples);
      EXPECT_LT(std::abs(here.mean[i]),
                4.0 * here.deviation[i] / std::sqrt(kRepeats) + 3.0 * std::pow(n, -2.0 / 3.0))
          << what;
      EXPECT_LT(here.deviation[i], 12.0 / std::sqrt(n)) << what;
      // A deviation out of 200 is known to 5 %, the ratio of two to 7 %.
      if (samples > 1000) {
        EXPECT_NEAR(last.deviation[i] / here.deviation[i], 2.0, 0.5) << what;
      }
    }
    last = here;
  }
}

// Heights at the exact quantiles: closed forms by scipy's norm.
TEST(NormalSurface, MaterialRatiosOfExactQuantiles) {
  std::vector<double> falling_um;
  for (int k = 0; k < 200000; ++k) falling_um.push_back(normal_quantile(1.0 - (k + 0.5) / 200000.0));
  const MaterialRatioCurve curve(falling_um);
  EXPECT_NEAR(curve.height_at(0.02) - curve.height_at(0.98), 4.107498, 1e-6);
  EXPECT_NEAR(curve.height_at(0.05) - curve.height_at(0.95), 3.289707, 1e-6);
  EXPECT_NEAR(curve.height_at(0.25) - curve.height_at(0.75), 1.348980, 1e-6);
  const auto relative = [&curve](double ratio, double depth_um) {
    return 100.0 * curve.ratio_at(curve.height_at(ratio) - depth_um);
  };
  EXPECT_NEAR(relative(0.05, 0.5), 12.613490, 1e-5);
  EXPECT_NEAR(relative(0.05, 1.0), 25.951102, 1e-5);
  EXPECT_NEAR(relative(0.02, 1.0), 14.599894, 1e-5);
}

// The lower of a normal of deviation 1 and a plateau at h, about its own mean, by quadrature with scipy.
TEST(NormalSurface, HeightsOfAPlateauedSurface) {
  struct Row {
    double h, mean, ra, rq, rsk, rku;
  };
  const Row rows[] = {{2.00, -0.008491, 0.789423, 0.979896, -0.124866, 2.750039},
                      {1.00, -0.083315, 0.717337, 0.866653, -0.582160, 2.760321},
                      {0.50, -0.197797, 0.615645, 0.743936, -1.013871, 3.460208},
                      {0.00, -0.398942, 0.461607, 0.583819, -1.640561, 5.407639}};
  for (const Row& row : rows) {
    std::vector<double> z;
    for (int k = 0; k < 200000; ++k) {
      z.push_back(std::min(row.h, normal_quantile((k + 0.5) / 200000.0)) - row.mean);
    }
    const HeightParameters found = height_parameters(z);
    // Ranks miss the last 1 / 400000 of the tail, which the fourth power feels most.
    EXPECT_NEAR(found.arithmetic_mean_um, row.ra, 2e-6) << row.h;
    EXPECT_NEAR(found.root_mean_square_um, row.rq, 2e-5) << row.h;
    EXPECT_NEAR(found.skewness, row.rsk, 2e-4) << row.h;
    EXPECT_NEAR(found.kurtosis, row.rku, 2e-3) << row.h;
  }
}

TEST(NormalSurface, MaterialRatiosApproachTheNormalDistribution) {
  const std::size_t samples = 64000;
  std::vector<double> falling_um = profiles::rough(samples, 1.0, 0, 4);
  SortWorkspace workspace;
  sort_falling(falling_um, falling_um, workspace);
  const MaterialRatioCurve curve(falling_um);
  for (double height_um = 2.5; height_um > -2.6; height_um -= 0.25) {
    const double ratio = 0.5 * std::erfc(height_um / std::sqrt(2.0));
    const double scatter = std::sqrt(ratio * (1.0 - ratio) / static_cast<double>(samples));
    EXPECT_NEAR(curve.ratio_at(height_um), ratio, 4.0 * scatter) << height_um;
  }
}

}  // namespace
}  // namespace crestgate::analysis
