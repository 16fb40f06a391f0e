// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/probability_parameters.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/normal_quantile.h"

namespace crestgate::analysis {
namespace {

ProbabilityParameters probability_of(std::vector<double> z) {
  std::ranges::sort(z, std::greater<>());
  return ProbabilityAnalysis(z.size()).run(z);
}

std::vector<double> from_plot(std::size_t count, const std::function<double(double)>& height_at) {
  std::vector<double> z(count);
  for (std::size_t k = 0; k < count; ++k) {
    z[k] = height_at(normal_quantile(1.0 - (static_cast<double>(k) + 0.5) / static_cast<double>(count)));
  }
  return z;
}

// z(s) = 0.2 s above s = -1 and 0.8 + s below: the lines meet at the ratio Phi(1). The bend is sought at the
// samples, so it misses by up to one rank.
TEST(ProbabilityParameters, OfTwoStraightRegions) {
  for (const std::size_t count : {1000U, 8000U, 16384U}) {
    const ProbabilityParameters found =
        probability_of(from_plot(count, [](double s) { return s >= -1.0 ? 0.2 * s : 0.8 + s; }));
    const double rank = 1.0 / static_cast<double>(count);
    EXPECT_TRUE(found.has_two_processes);
    EXPECT_NEAR(found.plateau_deviation_um, 0.2, 2.0 * rank) << count;
    EXPECT_NEAR(found.valley_deviation_um, 1.0, 4.0 * rank) << count;
    EXPECT_NEAR(found.transition_ratio, 0.84134475, rank) << count;
  }
}

// The lower of two normals (0.2 about 0, 1 about 0.8), by its distribution function. Straight lines fitted
// well away from the bend have slopes 0.207 and 1.000 and meet at 85.8 % (numpy); a fit over everything has
// the rounded corner in it.
TEST(ProbabilityParameters, OfTheLowerOfTwoNormals) {
  const auto above = [](double z) {
    return 0.25 * std::erfc(z / 0.2 / std::sqrt(2.0)) * std::erfc((z - 0.8) / std::sqrt(2.0));
  };
  std::vector<double> z;
  for (int k = 0; k < 8000; ++k) {
    double low = -8.0;
    double high = 8.0;
    for (int i = 0; i < 60; ++i) {
      const double middle = 0.5 * (low + high);
      (above(middle) > (k + 0.5) / 8000.0 ? low : high) = middle;
    }
    z.push_back(low);
  }
  const ProbabilityParameters found = probability_of(z);
  EXPECT_TRUE(found.has_two_processes);
  EXPECT_NEAR(found.plateau_deviation_um, 0.207, 0.02);
  EXPECT_NEAR(found.valley_deviation_um, 1.0, 0.03);
  EXPECT_NEAR(found.transition_ratio, 0.858, 0.01);
}

// Every breakpoint tried with its own three normal equations, by Gaussian elimination.
struct SlowFit {
  double lower = 0.0;
  double upper = 0.0;
  double ratio = 0.0;
};

std::vector<double> solve(std::vector<std::vector<double>> a) {
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t r = 0; r < 3; ++r) {
      if (r == i) continue;
      const double factor = a[r][i] / a[i][i];
      for (std::size_t c = i; c < 4; ++c) a[r][c] -= factor * a[i][c];
    }
  }
  return {a[0][3] / a[0][0], a[1][3] / a[1][1], a[2][3] / a[2][2]};
}

SlowFit fit_slowly(const std::vector<double>& falling) {
  std::vector<double> s;
  std::vector<double> z;
  std::vector<double> ratio;
  for (std::size_t k = 0; k < falling.size(); ++k) {
    const double p = (static_cast<double>(k) + 0.5) / static_cast<double>(falling.size());
    if (std::abs(normal_quantile(1.0 - p)) > 3.0) continue;
    s.push_back(normal_quantile(1.0 - p));
    z.push_back(falling[k]);
    ratio.push_back(p);
  }
  const std::size_t n = s.size();
  SlowFit best;
  double least = 1e300;
  for (std::size_t j = 2; j + 2 < n; ++j) {
    std::vector<std::vector<double>> normal(3, std::vector<double>(4, 0.0));
    double squares = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = 0.5 * (s[i == 0 ? 0 : i - 1] - s[i + 1 == n ? i : i + 1]);
      const double basis[3] = {1.0, std::min(s[i] - s[j], 0.0), std::max(s[i] - s[j], 0.0)};
      for (std::size_t r = 0; r < 3; ++r) {
        for (std::size_t c = 0; c < 3; ++c) normal[r][c] += w * basis[r] * basis[c];
        normal[r][3] += w * basis[r] * z[i];
      }
      squares += w * z[i] * z[i];
    }
    const auto x = solve(normal);
    const double left = squares - x[0] * normal[0][3] - x[1] * normal[1][3] - x[2] * normal[2][3];
    if (left < least) {
      least = left;
      best = {.lower = x[1], .upper = x[2], .ratio = ratio[j]};
    }
  }
  return best;
}

TEST(ProbabilityParameters, AreTheLeastSquaresOverEveryBreakpoint) {
  int met = 0;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    const std::size_t count = 60 + 7 * seed;
    auto z = profiles::rough(count, 0.2, 0, seed);
    const auto grooves = profiles::rough(count, 1.0, 0, seed + 1000);
    for (std::size_t i = 0; i < count; ++i) z[i] = std::min(z[i], grooves[i] + 0.8);
    std::ranges::sort(z, std::greater<>());
    const ProbabilityParameters found = ProbabilityAnalysis(count).run(z);
    const SlowFit expected = fit_slowly(z);
    if (!found.has_two_processes) continue;
    ++met;
    EXPECT_NEAR(found.plateau_deviation_um, expected.upper, 1e-9) << seed;
    EXPECT_NEAR(found.valley_deviation_um, expected.lower, 1e-9) << seed;
    EXPECT_NEAR(found.transition_ratio, expected.ratio, 1e-12) << seed;
  }
  EXPECT_GE(met, 20);
}

TEST(ProbabilityParameters, OneProcessIsNotTwo) {
  const auto one = from_plot(8000, [](double s) { return 0.7 * s; });
  EXPECT_FALSE(probability_of(one).has_two_processes);
  EXPECT_EQ(probability_of(one).valley_deviation_um, 0.0);
  const auto alike = from_plot(8000, [](double s) { return s >= 0.0 ? s : 1.2 * s; });
  EXPECT_FALSE(probability_of(alike).has_two_processes);
  const auto apart = from_plot(8000, [](double s) { return s >= 0.0 ? s : 1.3 * s; });
  EXPECT_TRUE(probability_of(apart).has_two_processes);
}

TEST(ProbabilityParameters, PeaksOnAPlateauAreNotThisKindOfTwo) {
  const auto z = from_plot(8000, [](double s) { return s < 1.0 ? 0.2 * s : s - 0.8; });
  EXPECT_FALSE(probability_of(z).has_two_processes);
}

TEST(ProbabilityParameters, ARegionOfLessThanOneTwentiethIsNone) {
  const auto bend_at = [](double place) {
    return from_plot(20000,
                     [place](double s) { return s >= place ? 0.2 * s : 0.2 * place + 5.0 * (s - place); });
  };
  EXPECT_FALSE(probability_of(bend_at(-2.75)).has_two_processes);
  EXPECT_TRUE(probability_of(bend_at(-2.65)).has_two_processes);
  EXPECT_TRUE(probability_of(bend_at(2.65)).has_two_processes);
  EXPECT_FALSE(probability_of(bend_at(2.75)).has_two_processes);
}

TEST(ProbabilityParameters, AFlatPlateauHasNoDeviation) {
  const ProbabilityParameters found =
      probability_of(from_plot(8000, [](double s) { return s >= -1.0 ? 0.0 : s + 1.0; }));
  EXPECT_TRUE(found.has_two_processes);
  EXPECT_NEAR(found.plateau_deviation_um, 0.0, 1e-3);
  EXPECT_GE(found.plateau_deviation_um, 0.0);
}

TEST(ProbabilityParameters, LevelOrVeryShortProfilesHaveNone) {
  for (const std::size_t count : {1U, 2U, 4U, 5U, 6U, 10U, 1000U}) {
    EXPECT_FALSE(probability_of(std::vector<double>(count, 0.3)).has_two_processes) << count;
  }
  EXPECT_FALSE(probability_of({3.0, 1.0, -2.0, -9.0}).has_two_processes);
}

}  // namespace
}  // namespace crestgate::analysis
