// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/robust_regression.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filter_profiles.h"
#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/filters/magnitude_median.h"

namespace crestgate::analysis {
namespace {

struct Robust {
  std::vector<double> line;
  MeanLineReport report = {};
  double c = 0.0;
};

Robust robust(const std::vector<double>& heights, const RobustOptions& options) {
  RobustOptions complete = options;
  complete.regression.sample_count = heights.size();
  const auto filter = RobustRegression::prepare(complete);
  EXPECT_TRUE(filter.has_value());
  Robust result{.line = std::vector<double>(heights.size())};
  FilterWorkspace workspace;
  result.report = filter->apply(heights, result.line, workspace);
  result.c = workspace.regression.biweight_c;
  return result;
}

RobustOptions for_g2(int order, double tolerance) {
  return {.regression = {.order = order, .cutoff_mm = 0.8, .spacing_mm = 0.001}, .tolerance = tolerance};
}

struct Passes {
  double tolerance;
  int order0;
  int order2;
};

// Source: independent computation, see golden_g2.
TEST(RobustRegression, StopsAfterThePassesThatG2Takes) {
  const Passes rows[] = {{1e-2, 3, 4}, {1e-3, 4, 8}, {1e-6, 13, 13}, {1e-10, 20, 20}};
  for (const Passes& row : rows) {
    EXPECT_EQ(robust(profiles::golden_g2(), for_g2(0, row.tolerance)).report.passes, row.order0);
    EXPECT_EQ(robust(profiles::golden_g2(), for_g2(2, row.tolerance)).report.passes, row.order2);
  }
}

TEST(RobustRegression, ReachesTheFixedPointOfG2) {
  const Robust order0 = robust(profiles::golden_g2(), for_g2(0, 1e-10));
  const Robust order2 = robust(profiles::golden_g2(), for_g2(2, 1e-10));
  EXPECT_NEAR(order0.c, 0.944342823, 1e-9);
  EXPECT_NEAR(order2.c, 0.931896737, 1e-9);
  EXPECT_TRUE(order0.report.converged && order2.report.converged);
  EXPECT_FALSE(order0.report.starved || order2.report.starved);
}

// Fine grooves of depth 5 on a flat land, order 0, far from the ends: the first pass is the mean, the second
// the mean with the grooves' biweight, and so on. Closed form: two heights, no geometry.
constexpr std::size_t kMiddle = 10000;

Robust grooved(std::size_t grooves_of_20, double tolerance, int most_passes = 100) {
  return robust(profiles::fine_grooves(2 * kMiddle, grooves_of_20),
                {.regression = {.order = 0, .cutoff_mm = 1.0, .spacing_mm = 0.001},
                 .tolerance = tolerance,
                 .most_passes = most_passes});
}

TEST(RobustRegression, ClimbsOutOfFineGroovesAsTheBiweightSays) {
  const std::pair<std::size_t, std::vector<double>> rows[] = {{4, {-1.0, -0.050196, 0.0}},
                                                              {6, {-1.5, -0.999197, -0.084015, 0.0}}};
  for (const auto& [grooves, lines] : rows) {
    for (std::size_t pass = 0; pass < lines.size(); ++pass) {
      const Robust found = grooved(grooves, 1e-10, static_cast<int>(pass) + 1);
      EXPECT_NEAR(found.line[kMiddle], lines[pass], 6e-7) << grooves << " " << pass;
      EXPECT_EQ(found.report.converged, pass + 1 == lines.size());  // c = 0 ends the loop
    }
  }
}

TEST(RobustRegression, StopsWhenMostOfTheTraceLiesOnTheLine) {
  const Robust found = grooved(8, 1e-10);
  EXPECT_EQ(found.report.passes, 11);
  EXPECT_TRUE(found.report.converged);
  EXPECT_NEAR(found.line[kMiddle], 0.0, 1e-12);
}

TEST(RobustRegression, IsStuckWhenTheGroovesAreTooMany) {
  const Robust found = grooved(9, 1e-10);
  EXPECT_NEAR(found.line[kMiddle], -2.147763, 1e-6);
}

// The median of signed residuals would be 0 here at once, and divide by it.
TEST(RobustRegression, KeepsAFlatLandWithFewGroovesFlat) {
  const Robust found = grooved(2, 1e-4);
  for (std::size_t i = 2000; i < 18000; ++i) ASSERT_NEAR(found.line[i], 0.0, 1e-9);
  EXPECT_LE(found.report.passes, 4);
}

TEST(RobustRegression, OfAConstantIsTheConstantAfterOnePass) {
  for (const int order : {0, 2}) {
    const Robust found = robust(std::vector<double>(5000, -3.25), for_g2(order, 1e-4));
    EXPECT_EQ(found.report.passes, 1);
    EXPECT_TRUE(found.report.converged);
    EXPECT_EQ(found.c, 0.0);
    for (const double height : found.line) ASSERT_EQ(height, -3.25);
  }
}

// Rough land of Rq 0.3 um, one scratch 20 um wide and 20 um deep. A linear mean line sags by 20 um times the
// share of its kernel, 20 / (0.4697 * 800) = 5.3 %: 1.06 um. The robust one loses the scratch's samples only.
TEST(RobustRegression, IsHardlyMovedByOneDeepScratch) {
  const std::vector<double> land = profiles::rough(5601, 0.3, 10, 21);
  std::vector<double> scratched = land;
  for (std::size_t i = 2790; i < 2810; ++i) scratched[i] -= 20.0;
  const auto greatest_move = [](const std::vector<double>& a, const std::vector<double>& b) {
    double greatest = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i) greatest = std::max(greatest, std::abs(a[i] - b[i]));
    return greatest;
  };
  for (const int order : {0, 2}) {
    const Robust before = robust(land, for_g2(order, 1e-4));
    const Robust after = robust(scratched, for_g2(order, 1e-4));
    // The window loses 5.3 % of its weight (order 2: up to 1.5/1.556 of that), whose mean is within 2 Rq of
    // the line.
    EXPECT_LT(greatest_move(before.line, after.line), 0.053 * 2.0 * 0.3) << order;
  }
  const auto gaussian =
      GaussianLowPass::prepare({.cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = land.size()});
  std::vector<double> before(land.size());
  std::vector<double> after(land.size());
  FilterWorkspace workspace;
  gaussian->apply(land, before, workspace);
  gaussian->apply(scratched, after, workspace);
  EXPECT_NEAR(greatest_move(before, after), 1.06, 0.01);
}

// Four cut-offs of +-50 um between quiet land: there the first line is near 0 and every sample loses its
// weight.
TEST(RobustRegression, ReportsWindowsThatLostAllWeight) {
  std::vector<double> z = profiles::rough(6000, 0.05, 4, 8);
  for (std::size_t i = 2000; i < 4000; ++i) z[i] = i % 2 == 0 ? 50.0 : -50.0;
  for (const int order : {0, 2}) {
    const Robust found = robust(z, {.regression = {.order = order, .cutoff_mm = 0.5, .spacing_mm = 0.001}});
    EXPECT_TRUE(found.report.starved);
    for (const double height : found.line) ASSERT_LT(std::abs(height), 1.0);
  }
}

TEST(RobustRegression, SaysWhenItRanOutOfPasses) {
  RobustOptions options = for_g2(2, 1e-10);
  options.most_passes = 5;
  const Robust found = robust(profiles::golden_g2(), options);
  EXPECT_EQ(found.report.passes, 5);
  EXPECT_FALSE(found.report.converged);
}

TEST(RobustRegression, ScalesAndShiftsWithTheHeights) {
  const std::vector<double> z = profiles::golden_g2();
  std::vector<double> other = z;
  for (double& height : other) height = 1000.0 - 8.0 * height;
  const Robust first = robust(z, for_g2(2, 1e-4));
  const Robust second = robust(other, for_g2(2, 1e-4));
  EXPECT_EQ(first.report.passes, second.report.passes);
  for (std::size_t i = 0; i < z.size(); ++i) {
    ASSERT_NEAR(second.line[i], 1000.0 - 8.0 * first.line[i], 1e-9);
  }
}

TEST(RobustRegression, RefusesAToleranceOrPassesOfNothing) {
  RobustOptions options = for_g2(0, 0.0);
  options.regression.sample_count = 5000;
  EXPECT_EQ(RobustRegression::prepare(options).error().code, base::ErrorCode::kOutOfRange);
  options = for_g2(0, 1e-4);
  options.regression.sample_count = 5000;
  options.most_passes = 0;
  EXPECT_EQ(RobustRegression::prepare(options).error().code, base::ErrorCode::kOutOfRange);
}

// By sorting.
double sorted_median(std::vector<double> values) {
  for (double& value : values) value = std::abs(value);
  std::ranges::sort(values);
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

TEST(MagnitudeMedian, IsTheSortedOneWhateverTheGuess) {
  std::vector<double> scratch;
  for (const std::size_t count : {1U, 2U, 3U, 10U, 251U, 1004U, 1005U, 5000U}) {
    for (const int kind : {0, 1, 2}) {
      std::vector<double> values = profiles::rough(count, 1.0, 0, count);
      for (double& value : values) {
        if (kind == 1) value = std::round(2.0 * value);
        if (kind == 2) value = 0.0;
      }
      const double expected = sorted_median(values);
      for (const double guess : {0.0, 1e-9, 0.5, 0.6, 0.7, 1.0, 100.0}) {
        EXPECT_EQ(median_of_magnitudes(values, guess, scratch), expected)
            << count << " " << kind << " " << guess;
      }
    }
  }
}

}  // namespace
}  // namespace crestgate::analysis
