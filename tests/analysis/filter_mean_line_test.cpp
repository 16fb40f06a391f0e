// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filter_profiles.h"
#include "analysis/filters/gaussian_regression.h"
#include "analysis/filters/mean_line.h"
#include "analysis/filters/robust_regression.h"
#include "analysis/filters/spline_filter.h"
#include "analysis/texture/height_parameters.h"

namespace crestgate::analysis {
namespace {

constexpr FilterKind kKinds[] = {FilterKind::kGaussian, FilterKind::kRobustOrder0, FilterKind::kRobustOrder2,
                                 FilterKind::kSpline, FilterKind::kTwoStep};

struct Answer {
  std::vector<double> line;
  MeanLineReport report = {};
};

Answer mean_line(const std::vector<double>& heights, const MeanLineOptions& options) {
  MeanLineOptions complete = options;
  complete.sample_count = heights.size();
  const auto filter = MeanLine::prepare(complete);
  EXPECT_TRUE(filter.has_value());
  Answer answer{.line = std::vector<double>(heights.size())};
  FilterWorkspace workspace;
  answer.report = filter->apply(heights, answer.line, workspace);
  return answer;
}

MeanLineOptions for_g2(FilterKind kind) { return {.kind = kind, .cutoff_mm = 0.8, .spacing_mm = 0.001}; }

struct Golden {
  std::array<double, 8> line;
  double ra;
  double rq;
};

// Against the printed digits of G2, see golden_g2: half a digit and the difference of the methods.
void expect_golden(const std::vector<double>& line, const Golden& golden, double tolerance) {
  constexpr std::size_t kPositions[] = {0, 100, 400, 800, 1400, 2800, 4800, 5600};
  const std::vector<double> z = profiles::golden_g2();
  for (std::size_t i = 0; i < golden.line.size(); ++i) {
    EXPECT_NEAR(line[kPositions[i]], golden.line[i], tolerance) << kPositions[i];
  }
  std::vector<double> r;
  for (std::size_t i = 800; i < 4800; ++i) r.push_back(z[i] - line[i]);
  const HeightParameters found = height_parameters(r);
  EXPECT_NEAR(found.arithmetic_mean_um, golden.ra, tolerance);
  EXPECT_NEAR(found.root_mean_square_um, golden.rq, tolerance);
}

constexpr double kSixDigits = 6e-7;

TEST(GoldenG2Filters, GaussianCutAtOneCutoff) {
  expect_golden(mean_line(profiles::golden_g2(), for_g2(FilterKind::kGaussian)).line,
                {{-0.030399, -0.061422, 0.309711, 0.661237, 0.450692, -1.188863, 0.661237, 0.408982},
                 0.552579,
                 1.024649},
                1.5e-6);
}

TEST(GoldenG2Filters, RegressionOfOrder0And2) {
  const std::vector<double> z = profiles::golden_g2();
  const Golden rows[] = {{{-0.030399, -0.061422, 0.309711, 0.661237, 0.450692, -1.188863, 0.661237, 0.408982},
                          0.552579,
                          1.024649},
                         {{0.150195, -0.060801, 0.295357, 0.655042, 0.501848, -1.243582, 0.654923, 0.527101},
                          0.556264,
                          1.033263}};
  for (const int order : {0, 2}) {
    const auto filter = GaussianRegression::prepare(
        {.order = order, .cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = z.size()});
    std::vector<double> line(z.size());
    FilterWorkspace workspace;
    filter->apply(z, line, workspace);
    expect_golden(line, rows[order / 2], kSixDigits);
  }
}

TEST(GoldenG2Filters, RobustOfOrder0And2) {
  const std::vector<double> z = profiles::golden_g2();
  const Golden rows[] = {
      {{0.216484, 0.269238, 0.568857, 0.907399, 0.762718, -0.935151, 0.899897, 0.700302}, 0.484257, 1.072304},
      {{0.058338, 0.176696, 0.582243, 0.938020, 0.792496, -0.968485, 0.929774, 0.521172},
       0.483502,
       1.072369}};
  for (const int order : {0, 2}) {
    const auto filter = RobustRegression::prepare(
        {.regression = {.order = order, .cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = z.size()},
         .tolerance = 1e-10});
    std::vector<double> line(z.size());
    FilterWorkspace workspace;
    filter->apply(z, line, workspace);
    expect_golden(line, rows[order / 2], kSixDigits);
  }
}

TEST(GoldenG2Filters, SplineOfBothTensions) {
  const std::vector<double> z = profiles::golden_g2();
  expect_golden(mean_line(z, for_g2(FilterKind::kSpline)).line,
                {{-0.069127, -0.071408, 0.296414, 0.682505, 0.471170, -1.217222, 0.683165, 0.391194},
                 0.551925,
                 1.024267},
                kSixDigits);
  const auto tense = SplineFilter::prepare(
      {.cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = z.size(), .beta = 0.625242});
  std::vector<double> line(z.size());
  tense->apply(z, line);
  expect_golden(line,
                {{0.005602, -0.035034, 0.327245, 0.683949, 0.421888, -1.170503, 0.684092, 0.450822},
                 0.548834,
                 1.015886},
                kSixDigits);
}

TEST(GoldenG2Filters, TwoStepKeepsTheValleysUncut) {
  const std::vector<double> z = profiles::golden_g2();
  const Answer answer = mean_line(z, for_g2(FilterKind::kTwoStep));
  expect_golden(
      answer.line,
      {{0.202615, 0.246843, 0.557520, 0.903747, 0.755428, -0.939049, 0.901395, 0.685489}, 0.483238, 1.069929},
      1.5e-6);
  double lowest = 0.0;
  for (std::size_t i = 800; i < 4800; ++i) lowest = std::min(lowest, z[i] - answer.line[i]);
  EXPECT_NEAR(lowest, -4.192782, 1.5e-6);
}

TEST(MeanLine, GivesTheRobustFilterItsOwnTolerance) {
  const std::vector<double> z = profiles::golden_g2();
  for (const int order : {0, 2}) {
    const Answer answer =
        mean_line(z, for_g2(order == 0 ? FilterKind::kRobustOrder0 : FilterKind::kRobustOrder2));
    const auto filter = RobustRegression::prepare(
        {.regression = {.order = order, .cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = z.size()}});
    std::vector<double> line(z.size());
    FilterWorkspace workspace;
    const MeanLineReport report = filter->apply(z, line, workspace);
    EXPECT_EQ(answer.line, line);
    EXPECT_EQ(answer.report.passes, report.passes);
    EXPECT_TRUE(answer.report.converged);
    EXPECT_FALSE(answer.report.starved);
  }
}

TEST(MeanLine, OfALinearFilterReportsNoPasses) {
  for (const FilterKind kind : {FilterKind::kGaussian, FilterKind::kSpline, FilterKind::kTwoStep}) {
    const Answer answer = mean_line(profiles::golden_g2(), for_g2(kind));
    EXPECT_EQ(answer.report.passes, 0);
    EXPECT_TRUE(answer.report.converged);
    EXPECT_FALSE(answer.report.starved);
  }
}

TEST(MeanLine, OfAConstantIsTheConstant) {
  const std::vector<double> heights(3000, -7.5);
  for (const FilterKind kind : kKinds) {
    for (const double height : mean_line(heights, for_g2(kind)).line) ASSERT_NEAR(height, -7.5, 1e-11);
  }
}

// What filters a trace must not depend on what the workspace served before, nor on the order of traces.
TEST(MeanLine, GivesTheSameBitsWithAUsedWorkspace) {
  const std::vector<double> z = profiles::golden_g2();
  const std::vector<double> other = profiles::rough(z.size(), 2.0, 7, 3);
  FilterWorkspace used;
  std::vector<double> line(z.size());
  for (const FilterKind kind : kKinds) {
    MeanLineOptions options = for_g2(kind);
    options.sample_count = z.size();
    const auto filter = MeanLine::prepare(options);
    filter->apply(other, line, used);
    filter->apply(z, line, used);
    EXPECT_EQ(line, mean_line(z, for_g2(kind)).line);
  }
}

TEST(MeanLine, PassesTheEndRuleOn) {
  const std::vector<double> z = profiles::golden_g2();
  for (const FilterKind kind : {FilterKind::kGaussian, FilterKind::kTwoStep}) {
    MeanLineOptions options = for_g2(kind);
    const Answer plain = mean_line(z, options);
    options.ends = EndRule::kZero;
    const Answer zero = mean_line(z, options);
    EXPECT_GT(std::abs(plain.line[5600] - zero.line[5600]), 0.1);
    EXPECT_NEAR(plain.line[2800], zero.line[2800], 1e-12);
  }
}

TEST(MeanLine, HandsOnWhatTheFilterRefuses) {
  MeanLineOptions options = for_g2(FilterKind::kRobustOrder2);
  options.sample_count = 300;
  EXPECT_EQ(MeanLine::prepare(options).error().code, base::ErrorCode::kTooShort);
  options = for_g2(FilterKind::kTwoStep);
  options.sample_count = 300;
  options.ends = EndRule::kPointReflected;
  EXPECT_EQ(MeanLine::prepare(options).error().code, base::ErrorCode::kTooShort);
  options = for_g2(FilterKind::kSpline);
  options.sample_count = 300;
  options.cutoff_mm = 0.001;
  EXPECT_EQ(MeanLine::prepare(options).error().code, base::ErrorCode::kOutOfRange);
}

// A linear mean line sags about 0.25 um under the grooves of G2, the robust ones and the two-step one do not:
// without grooves the mean line is the long sine.
TEST(MeanLine, SagsUnderGroovesOnlyIfItIsLinear) {
  const std::vector<double> grooved = profiles::golden_g2();
  const std::vector<double> smooth = profiles::golden_g2_without_grooves();
  const auto sag = [&](FilterKind kind) {
    const Answer with = mean_line(grooved, for_g2(kind));
    const Answer without = mean_line(smooth, for_g2(kind));
    double sum = 0.0;
    for (std::size_t i = 800; i < 4800; ++i) sum += without.line[i] - with.line[i];
    return sum / 4000.0;
  };
  // Linear: the grooves' share of the mean, 30/400 of 4 um.
  EXPECT_NEAR(sag(FilterKind::kGaussian), 0.3, 0.01);
  EXPECT_NEAR(sag(FilterKind::kSpline), 0.3, 0.01);
  EXPECT_LT(std::abs(sag(FilterKind::kRobustOrder0)), 0.03);
  EXPECT_LT(std::abs(sag(FilterKind::kRobustOrder2)), 0.03);
}

}  // namespace
}  // namespace crestgate::analysis
