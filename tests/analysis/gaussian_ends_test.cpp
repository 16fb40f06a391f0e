// SPDX-License-Identifier: Apache-2.0
// What the linear Gaussian filter does at the ends of a trace.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filter_profiles.h"
#include "analysis/filtered.h"
#include "analysis/filters/end_padding.h"
#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/filters/gaussian_regression.h"

namespace crestgate::analysis {
namespace {

constexpr EndRule kRules[] = {EndRule::kRenormalised, EndRule::kMomentOrder1, EndRule::kZero,
                              EndRule::kExtrapolated, EndRule::kReflected,    EndRule::kPointReflected};
constexpr ConvolutionMethod kMethods[] = {ConvolutionMethod::kDirect, ConvolutionMethod::kFourier};

struct FirstPoint {
  EndRule ends;
  double of_one;
  double of_x;
  std::optional<double> of_square;
};

// Closed forms of the continuous filter, Lc = 1, data for x >= 0: moments of the half Gaussian, alpha/pi =
// 0.149516, alpha^2/(2 pi) = 0.035115. The sampled filter counts the end sample whole instead of half: 1e-4
// of a cut-off here.
TEST(GaussianEnds, FirstPointFollowsTheClosedForms) {
  const FirstPoint rows[] = {
      {EndRule::kZero, 0.5, 0.074758, 0.017558},         {EndRule::kReflected, 1.0, 0.149516, 0.035115},
      {EndRule::kPointReflected, 1.0, 0.0, 0.0},         {EndRule::kExtrapolated, 1.0, 0.0, std::nullopt},
      {EndRule::kRenormalised, 1.0, 0.149516, 0.035115}, {EndRule::kMomentOrder1, 1.0, 0.0, -0.026405}};
  const double spacing = 1e-4;
  const auto one = profiles::sampled(20001, spacing, [](double) { return 1.0; });
  const auto line = profiles::sampled(20001, spacing, [](double x) { return x; });
  const auto square = profiles::sampled(20001, spacing, [](double x) { return x * x; });
  for (const FirstPoint& row : rows) {
    const LowPassOptions options{.cutoff_mm = 1.0, .spacing_mm = spacing, .ends = row.ends};
    const int name = static_cast<int>(row.ends);
    EXPECT_NEAR(mean_line(one, options).front(), row.of_one, row.ends == EndRule::kZero ? 1.1e-4 : 1e-12)
        << name;
    EXPECT_NEAR(mean_line(line, options).front(), row.of_x, row.of_x == 0.0 ? 1e-11 : 4e-5) << name;
    if (row.of_square) {
      EXPECT_NEAR(mean_line(square, options).front(), *row.of_square, 4e-5) << name;
    }
  }
}

TEST(GaussianEnds, BothEndsAreTreatedAlike) {
  const std::vector<double> forward = profiles::rough(700, 1.0, 3, 5);
  const std::vector<double> backward(forward.rbegin(), forward.rend());
  for (const EndRule ends : kRules) {
    for (const ConvolutionMethod method : kMethods) {
      const LowPassOptions options{.cutoff_mm = 0.2, .spacing_mm = 0.001, .ends = ends, .method = method};
      const auto there = mean_line(forward, options);
      const auto back = mean_line(backward, options);
      for (std::size_t i = 0; i < there.size(); ++i) ASSERT_NEAR(there[i], back[there.size() - 1 - i], 1e-13);
    }
  }
}

TEST(GaussianEnds, DirectSumsEqualTransformsForEveryRuleAndLength) {
  for (const EndRule ends : kRules) {
    for (std::size_t count = is_reflection(ends) ? 21 : 1; count <= 120; ++count) {
      std::vector<double> heights = profiles::rough(count, 1.0, 2, count);
      for (std::size_t i = 0; i < count; ++i) heights[i] += 3.0 + 0.1 * static_cast<double>(i);
      LowPassOptions options{.cutoff_mm = 0.02, .spacing_mm = 0.001, .ends = ends};
      options.method = ConvolutionMethod::kDirect;
      const auto direct = mean_line(heights, options);
      options.method = ConvolutionMethod::kFourier;
      const auto fourier = mean_line(heights, options);
      for (std::size_t i = 0; i < count; ++i) {
        ASSERT_NEAR(direct[i], fourier[i], 3e-12) << static_cast<int>(ends) << " " << count << " " << i;
      }
    }
  }
}

// The run-up of one cut-off keeps every rule out of the evaluation length.
TEST(GaussianEnds, NoRuleReachesFartherThanOneCutoff) {
  const std::vector<double> z = profiles::golden_g2_without_grooves();
  const double range = *std::ranges::max_element(z) - *std::ranges::min_element(z);
  const LowPassOptions options{.cutoff_mm = profiles::kG2Cutoff, .spacing_mm = profiles::kG2Spacing};
  const auto expected = mean_line(z, options);
  for (const EndRule ends : kRules) {
    LowPassOptions other = options;
    other.ends = ends;
    const auto w = mean_line(z, other);
    for (std::size_t i = 800; i < 4801; ++i) ASSERT_NEAR(w[i], expected[i], 1e-6 * range);
    if (ends != EndRule::kRenormalised) {
      EXPECT_GT(std::abs(w[0] - expected[0]), 1e-5);
    }
  }
}

// Least squares with the cut kernel's weights, written out.
double regression_of_order1(const std::vector<double>& heights, std::size_t k, std::size_t reach,
                            double cutoff) {
  long double m[3] = {};
  long double t[2] = {};
  for (std::size_t l = 0; l < heights.size(); ++l) {
    const long double distance = static_cast<long double>(l) - static_cast<long double>(k);
    if (std::abs(distance) > static_cast<long double>(reach)) continue;
    const long double u = distance / (0.469718639349826L * static_cast<long double>(cutoff));
    const long double s = std::exp(-std::numbers::pi_v<long double> * u * u);
    m[0] += s;
    m[1] += s * distance;
    m[2] += s * distance * distance;
    t[0] += s * static_cast<long double>(heights[l]);
    t[1] += s * distance * static_cast<long double>(heights[l]);
  }
  return static_cast<double>((m[2] * t[0] - m[1] * t[1]) / (m[0] * m[2] - m[1] * m[1]));
}

TEST(GaussianEnds, MomentRetentionOfOrder1IsRegressionOfOrder1) {
  for (const std::size_t count : {2U, 3U, 15U, 31U, 90U}) {
    std::vector<double> heights = profiles::rough(count, 1.0, 2, count);
    for (std::size_t i = 0; i < count; ++i) heights[i] += 0.2 * static_cast<double>(i);
    for (const ConvolutionMethod method : kMethods) {
      const auto w = mean_line(
          heights,
          {.cutoff_mm = 0.03, .spacing_mm = 0.001, .ends = EndRule::kMomentOrder1, .method = method});
      for (std::size_t k = 0; k < count; ++k) {
        ASSERT_NEAR(w[k], regression_of_order1(heights, k, 30, 30.0), 1e-11) << count << " " << k;
      }
    }
  }
}

TEST(GaussianEnds, StraightLinesStayUnderTheRulesThatKnowASlope) {
  const auto line = profiles::sampled(900, 0.001, [](double x) { return 40.0 - 25.0 * x; });
  for (const EndRule ends : {EndRule::kMomentOrder1, EndRule::kExtrapolated, EndRule::kPointReflected}) {
    for (const ConvolutionMethod method : kMethods) {
      const auto w =
          mean_line(line, {.cutoff_mm = 0.25, .spacing_mm = 0.001, .ends = ends, .method = method});
      for (std::size_t i = 0; i < line.size(); ++i) ASSERT_NEAR(w[i], line[i], 1e-11);
    }
  }
}

TEST(GaussianEnds, ExtrapolationOfAShortTraceUsesAllOfIt) {
  const std::vector<double> heights{1.0, 3.0, 2.0};
  std::vector<double> padded(13);
  fill_padded(EndRule::kExtrapolated, 5, heights, padded);
  // The least-squares line through (0,1), (1,3), (2,2): 1.5 + 0.5 x.
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_NEAR(padded[i], 1.5 + 0.5 * (static_cast<double>(i) - 5.0), 1e-14);
    EXPECT_NEAR(padded[8 + i], 1.5 + 0.5 * (static_cast<double>(i) + 3.0), 1e-14);
  }
}

TEST(GaussianEnds, PaddingFollowsEachRule) {
  const std::vector<double> heights{1.0, 3.0, 2.0, 7.0};
  const auto padded = [&](EndRule ends) {
    std::vector<double> result(8);
    fill_padded(ends, 2, heights, result);
    return result;
  };
  EXPECT_EQ(padded(EndRule::kZero), (std::vector<double>{0, 0, 1, 3, 2, 7, 0, 0}));
  EXPECT_EQ(padded(EndRule::kReflected), (std::vector<double>{2, 3, 1, 3, 2, 7, 2, 3}));
  EXPECT_EQ(padded(EndRule::kPointReflected), (std::vector<double>{0, -1, 1, 3, 2, 7, 12, 11}));
}

TEST(GaussianEnds, BothReflectionsWantATraceLongerThanTheCutoff) {
  for (const EndRule ends : {EndRule::kReflected, EndRule::kPointReflected}) {
    const LowPassOptions options{.cutoff_mm = 0.02, .spacing_mm = 0.001, .sample_count = 20, .ends = ends};
    const auto filter = GaussianLowPass::prepare(options);
    ASSERT_FALSE(filter.has_value());
    EXPECT_EQ(filter.error().code, base::ErrorCode::kTooShort);
  }
}

}  // namespace
}  // namespace crestgate::analysis
