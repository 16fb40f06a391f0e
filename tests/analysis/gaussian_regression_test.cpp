// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_regression.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filter_profiles.h"
#include "analysis/filters/gaussian_low_pass.h"

namespace crestgate::analysis {
namespace {

struct Line {
  std::vector<double> heights;
  bool fed = true;
};

Line regression(const std::vector<double>& heights, const RegressionOptions& options,
                const std::vector<double>& weights = {}) {
  RegressionOptions complete = options;
  complete.sample_count = heights.size();
  const auto filter = GaussianRegression::prepare(complete);
  EXPECT_TRUE(filter.has_value());
  Line line{.heights = std::vector<double>(heights.size())};
  FilterWorkspace workspace;
  filter->apply(heights, line.heights, workspace);
  if (!weights.empty()) line.fed = filter->reweigh(heights, weights, line.heights, workspace);
  return line;
}

// The definition, written out in long double with the untruncated kernel: normal equations by Cramer's rule.
double defined_at(const std::vector<double>& heights, const std::vector<double>& weights, std::size_t k,
                  int order, double cutoff_samples) {
  const long double gamma = order == 2 ? 0.730913428094676L : 0.469718639349826L;
  long double m[5] = {};
  long double t[3] = {};
  for (std::size_t l = 0; l < heights.size(); ++l) {
    const long double x = (static_cast<long double>(l) - static_cast<long double>(k)) /
                          static_cast<long double>(cutoff_samples);
    long double term = std::exp(-std::numbers::pi_v<long double> * (x / gamma) * (x / gamma)) *
                       static_cast<long double>(weights[l]);
    for (std::size_t j = 0; j < 5; ++j, term *= x) {
      m[j] += term;
      if (j < 3) t[j] += term * static_cast<long double>(heights[l]);
    }
  }
  if (order == 0) return static_cast<double>(t[0] / m[0]);
  if (order == 1) return static_cast<double>((m[2] * t[0] - m[1] * t[1]) / (m[0] * m[2] - m[1] * m[1]));
  const long double c0 = m[2] * m[4] - m[3] * m[3];
  const long double c1 = m[2] * m[3] - m[1] * m[4];
  const long double c2 = m[1] * m[3] - m[2] * m[2];
  return static_cast<double>((t[0] * c0 + t[1] * c1 + t[2] * c2) / (m[0] * c0 + m[1] * c1 + m[2] * c2));
}

TEST(GaussianRegression, EqualsItsDefinitionForEveryOrderWeightAndGrid) {
  for (const int order : {0, 1, 2}) {
    for (const std::size_t cutoff : {4U, 30U, 150U, 400U}) {
      for (const std::size_t count : {cutoff / 2 + 1, cutoff * 2 + 3, 1000UL}) {
        if (count < 3 || 2 * count < cutoff) continue;
        std::vector<double> heights = profiles::rough(count, 1.0, 2, count);
        for (std::size_t i = 0; i < count; ++i) heights[i] += 100.0 + 0.02 * static_cast<double>(i);
        std::vector<double> weights = profiles::rough(count, 0.3, 0, 77);
        for (double& weight : weights) weight = std::min(1.0, std::abs(weight));
        const RegressionOptions options{
            .order = order, .cutoff_mm = 0.001 * static_cast<double>(cutoff), .spacing_mm = 0.001};
        const std::vector<double> ones(count, 1.0);
        const Line plain = regression(heights, options);
        const Line weighted = regression(heights, options, weights);
        EXPECT_TRUE(weighted.fed);
        for (std::size_t k = 0; k < count; k += 1 + count / 40) {
          const auto width = static_cast<double>(cutoff);
          ASSERT_NEAR(plain.heights[k], defined_at(heights, ones, k, order, width), 2e-9)
              << order << " " << cutoff << " " << count << " " << k;
          ASSERT_NEAR(weighted.heights[k], defined_at(heights, weights, k, order, width), 2e-9)
              << order << " " << cutoff << " " << count << " " << k;
        }
      }
    }
  }
}

// A cut-off of 400 samples is worked on a coarse grid, one of 30 sample by sample; both are meant by the test
// above.
TEST(GaussianRegression, TakesACoarseGridForLongCutoffsOnly) {
  const auto fine =
      GaussianRegression::prepare({.order = 2, .cutoff_mm = 0.03, .spacing_mm = 0.001, .sample_count = 1000});
  const auto coarse =
      GaussianRegression::prepare({.order = 2, .cutoff_mm = 0.4, .spacing_mm = 0.001, .sample_count = 1000});
  EXPECT_EQ(fine->grid().step(), 1U);
  EXPECT_EQ(coarse->grid().step(), 5U);  // 400 * 0.7309 / sqrt(2 pi) / 20 = 5.8
}

// A gap that the weights leave, seen against the definition: 1e-8 of the heights for a quarter of a cut-off.
TEST(GaussianRegression, ReachesAcrossAGap) {
  std::vector<double> heights = profiles::rough(3000, 1.0, 2, 9);
  for (std::size_t i = 1500; i < heights.size(); ++i) heights[i] += 5.0;
  for (const int order : {0, 1, 2}) {
    for (const std::size_t gap : {150U, 600U}) {
      std::vector<double> weights(heights.size(), 1.0);
      for (std::size_t i = 1500 - gap / 2; i < 1500 + gap / 2; ++i) weights[i] = 0.0;
      const Line line = regression(heights, {.order = order, .cutoff_mm = 0.6, .spacing_mm = 0.001}, weights);
      EXPECT_TRUE(line.fed);
      for (std::size_t k = 1100; k < 1900; k += 23) {
        ASSERT_NEAR(line.heights[k], defined_at(heights, weights, k, order, 600.0), gap == 150 ? 2e-8 : 2e-6)
            << order << " " << gap << " " << k;
      }
    }
  }
}

TEST(GaussianRegression, KeepsTheLastLineWhereAllWeightsVanish) {
  const std::vector<double> heights = profiles::rough(4000, 1.0, 3, 4);
  std::vector<double> weights(heights.size(), 1.0);
  for (std::size_t i = 1000; i < 3000; ++i) weights[i] = 0.0;
  for (const int order : {0, 1, 2}) {
    const RegressionOptions options{.order = order, .cutoff_mm = 0.3, .spacing_mm = 0.001};
    const Line plain = regression(heights, options);
    const Line weighted = regression(heights, options, weights);
    EXPECT_FALSE(weighted.fed);
    for (std::size_t i = 1800; i < 2200; ++i) ASSERT_EQ(weighted.heights[i], plain.heights[i]);
    for (const double height : weighted.heights) ASSERT_TRUE(std::isfinite(height));
    EXPECT_NEAR(weighted.heights[100], plain.heights[100], 1e-9);
  }
}

struct Transmission {
  double wavelength_per_cutoff;
  double long_wave;
};

// Source: (1 + u) exp(-u), u = pi (gamma Lc / l)^2, closed form of the continuous regression of order 2; half
// at the cut-off. With gamma of order 0 it would be 0.847 there.
TEST(GaussianRegression, OfOrder2PassesHalfTheAmplitudeAtTheCutoff) {
  const Transmission rows[] = {
      {1.0 / 5.0, 0.0},    {1.0 / 3.0, 0.0000044350}, {0.5, 0.0093682361}, {0.8, 0.2630856480},
      {1.0, 0.5},          {1.5, 0.8280816755},       {2.0, 0.9331204926}, {3.0, 0.9846298149},
      {5.0, 0.9978448834}, {10.0, 0.9998607236}};
  for (const Transmission& row : rows) {
    const double wavelength_mm = row.wavelength_per_cutoff * 0.25;
    const auto heights = profiles::sampled(
        8001, 0.0005, [&](double x) { return profiles::sine(x - 2.0, wavelength_mm, profiles::kPi / 2); });
    const Line line = regression(heights, {.order = 2, .cutoff_mm = 0.25, .spacing_mm = 0.0005});
    EXPECT_NEAR(line.heights[4000], row.long_wave, 2e-10) << row.wavelength_per_cutoff;
  }
}

TEST(GaussianRegression, OfOrder2KeepsAParabolaToTheEnds) {
  const auto parabola = profiles::sampled(3000, 0.001, [](double x) { return 1.0 + x - 2.0 * x * x; });
  const Line line = regression(parabola, {.order = 2, .cutoff_mm = 0.8, .spacing_mm = 0.001});
  for (std::size_t i = 0; i < parabola.size(); ++i) ASSERT_NEAR(line.heights[i], parabola[i], 1e-8) << i;
}

// The low pass cuts its kernel at one cut-off: 9.5e-8 of the weight, 2.7e-6 of its second moment.
TEST(GaussianRegression, OfOrders0And1IsTheLowPassThatRetainsTheirMoments) {
  const std::vector<double> z = profiles::golden_g2();
  for (const int order : {0, 1}) {
    const Line line = regression(z, {.order = order, .cutoff_mm = 0.8, .spacing_mm = 0.001});
    const auto low_pass =
        GaussianLowPass::prepare({.cutoff_mm = 0.8,
                                  .spacing_mm = 0.001,
                                  .sample_count = z.size(),
                                  .ends = order == 0 ? EndRule::kRenormalised : EndRule::kMomentOrder1});
    std::vector<double> w(z.size());
    FilterWorkspace workspace;
    low_pass->apply(z, w, workspace);
    for (std::size_t i = 0; i < z.size(); ++i) ASSERT_NEAR(line.heights[i], w[i], order == 0 ? 5e-7 : 3e-6);
  }
}

TEST(GaussianRegression, RefusesWhatItsWindowCannotCarry) {
  const auto code = [](const RegressionOptions& options) {
    const auto filter = GaussianRegression::prepare(options);
    return filter ? base::ErrorCode::kIo : filter.error().code;
  };
  using base::ErrorCode;
  EXPECT_EQ(code({.order = 3, .sample_count = 8000}), ErrorCode::kOutOfRange);
  EXPECT_EQ(code({.order = -1, .sample_count = 8000}), ErrorCode::kOutOfRange);
  EXPECT_EQ(code({.cutoff_mm = 0.0019, .spacing_mm = 0.0005, .sample_count = 8000}), ErrorCode::kOutOfRange);
  EXPECT_EQ(code({.cutoff_mm = 0.8, .spacing_mm = 0.0005, .sample_count = 799}), ErrorCode::kTooShort);
  EXPECT_EQ(code({.cutoff_mm = 0.002, .spacing_mm = 0.0005, .sample_count = 2}), ErrorCode::kTooShort);
  EXPECT_EQ(code({.cutoff_mm = 0.8, .spacing_mm = 0.0005, .sample_count = 800}), ErrorCode::kIo);
}

// Sums at the nodes, z(l) f(x(l)), are those at the samples for every f up to the seventh degree.
TEST(NodeGrid, GathersAndInterpolatesPolynomialsOfTheSeventhDegree) {
  for (const std::size_t step : {1U, 2U, 3U, 7U, 50U}) {
    for (const std::size_t count : {1U, 6U, 49U, 50U, 101U}) {
      const NodeGrid grid({.sample_count = count, .step = step});
      const auto value = [&](double sample) {
        const double x = sample / static_cast<double>(count);
        return 1.0 + x * (2.0 + x * (-1.0 + x * (0.5 + x * (3.0 + x * (-2.0 + x * (1.0 + x))))));
      };
      std::vector<double> at_nodes(grid.node_count());
      for (std::size_t m = 0; m < at_nodes.size(); ++m) {
        at_nodes[m] =
            value((static_cast<double>(m) - static_cast<double>(grid.lead())) * static_cast<double>(step));
      }
      double largest = 1.0;
      for (const double node : at_nodes) largest = std::max(largest, std::abs(node));
      std::vector<double> samples(count);
      grid.interpolate(at_nodes, samples);
      const std::vector<double> z = profiles::rough(count, 1.0, 0, count + step);
      std::vector<double> gathered(grid.node_count());
      grid.gather(z, gathered);
      double expected = 0.0;
      for (std::size_t i = 0; i < count; ++i) {
        const double f = value(static_cast<double>(i));
        ASSERT_NEAR(samples[i], f, 1e-14 * largest) << step << " " << count << " " << i;
        expected += z[i] * f;
      }
      double found = 0.0;
      for (std::size_t m = 0; m < at_nodes.size(); ++m) found += gathered[m] * at_nodes[m];
      EXPECT_NEAR(found, expected, 1e-14 * largest * static_cast<double>(count + 1)) << step << " " << count;
    }
  }
}

}  // namespace
}  // namespace crestgate::analysis
