// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_low_pass.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filtered.h"
#include "analysis/filters/gaussian_kernel.h"
#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

// Truncation at one cut-off changes the transmission by at most 1.753e-7 (closed form, renormalised kernel).
constexpr double kTruncation = 1.8e-7;

struct Transmission {
  double wavelength_per_cutoff;
  double long_wave;
};

// Source: ISO 16610-21:2011 4.2, 2^-((Lc/l)^2).
TEST(GaussianLowPass, PassesAmplitudesByTheStandardsTransmission) {
  const Transmission rows[] = {{1.0 / 5.0, 0.0000000298},
                               {1.0 / 3.0, 0.0019531250},
                               {0.5, 0.0625},
                               {0.8, 0.3385638867},
                               {1.0, 0.5},
                               {1.2, std::exp2(-1.0 / 1.44)},
                               {1.5, 0.7348672461},
                               {2.0, 0.8408964153},
                               {3.0, 0.9258747123},
                               {5.0, 0.9726549474},
                               {10.0, 0.9930924954}};
  for (const ConvolutionMethod method : {ConvolutionMethod::kDirect, ConvolutionMethod::kFourier}) {
    for (const Transmission& row : rows) {
      const double cutoff_mm = 0.25;
      const double wavelength_mm = row.wavelength_per_cutoff * cutoff_mm;
      const auto heights = profiles::sampled(
          8001, 0.0005, [&](double x) { return profiles::sine(x - 2.0, wavelength_mm, profiles::kPi / 2); });
      const auto w = mean_line(heights, {.cutoff_mm = cutoff_mm, .spacing_mm = 0.0005, .method = method});
      EXPECT_NEAR(w[4000], row.long_wave, kTruncation + 1e-10) << row.wavelength_per_cutoff;
    }
  }
}

TEST(GaussianLowPass, KeepsAConstantToTheEnds) {
  const std::vector<double> heights(3000, 7.25);
  for (const EndRule ends : {EndRule::kRenormalised, EndRule::kReflected}) {
    for (const ConvolutionMethod method : {ConvolutionMethod::kDirect, ConvolutionMethod::kFourier}) {
      const auto w =
          mean_line(heights, {.cutoff_mm = 0.8, .spacing_mm = 0.0005, .ends = ends, .method = method});
      for (const double value : w) ASSERT_NEAR(value, 7.25, 1e-12);
    }
  }
}

// Closed form of a line z = x under order-0 moment retention and under reflection, at the very first point,
// for the untruncated kernel: alpha Lc / pi = 0.149516 Lc.
TEST(GaussianLowPass, LiftsTheFirstPointOfALineByBothRules) {
  const auto heights = profiles::sampled(8000, 0.0005, [](double x) { return x; });
  for (const EndRule ends : {EndRule::kRenormalised, EndRule::kReflected}) {
    const auto w = mean_line(heights, {.cutoff_mm = 1.0, .spacing_mm = 0.0005, .ends = ends});
    EXPECT_NEAR(w[0], 0.149516, 3e-4);  // one sample of half weight at the edge
    EXPECT_NEAR(w[4000], 2.0, 1e-12);
  }
}

TEST(GaussianLowPass, GivesTheSameDirectlyAndByFourierAtEveryLength) {
  for (const EndRule ends : {EndRule::kRenormalised, EndRule::kReflected}) {
    for (std::size_t count = 21; count <= 160; ++count) {
      const std::vector<double> heights = profiles::rough(count, 1.0, 2, count);
      const LowPassOptions options{.cutoff_mm = 0.02, .spacing_mm = 0.001, .ends = ends};
      LowPassOptions direct = options;
      direct.method = ConvolutionMethod::kDirect;
      LowPassOptions fourier = options;
      fourier.method = ConvolutionMethod::kFourier;
      const auto a = mean_line(heights, direct);
      const auto b = mean_line(heights, fourier);
      for (std::size_t i = 0; i < count; ++i) ASSERT_NEAR(a[i], b[i], 1e-12) << count << " " << i;
    }
  }
}

TEST(GaussianLowPass, CutsTheKernelAtBothEndsOfATraceShorterThanIt) {
  // Independent: the definition written out.
  const std::vector<double> heights{1.0, -2.0, 4.0, 0.5, 3.0};
  const LowPassOptions options{.cutoff_mm = 0.02, .spacing_mm = 0.001};
  const auto w = mean_line(heights, options);
  for (std::size_t k = 0; k < heights.size(); ++k) {
    double sum = 0.0;
    double weights = 0.0;
    for (std::size_t l = 0; l < heights.size(); ++l) {
      const double u = (static_cast<double>(l) - static_cast<double>(k)) * 0.001 / (kGaussianAlpha * 0.02);
      sum += std::exp(-profiles::kPi * u * u) * heights[l];
      weights += std::exp(-profiles::kPi * u * u);
    }
    EXPECT_NEAR(w[k], sum / weights, 1e-12) << k;
  }
}

TEST(GaussianLowPass, RefusesToReflectATraceShorterThanTheCutoff) {
  const auto filter = GaussianLowPass::prepare(
      {.cutoff_mm = 0.02, .spacing_mm = 0.001, .sample_count = 20, .ends = EndRule::kReflected});
  ASSERT_FALSE(filter.has_value());
  EXPECT_EQ(filter.error().code, base::ErrorCode::kTooShort);
}

TEST(GaussianLowPass, TwoPassesEqualOneOfTheSquareSum) {
  const std::vector<double> heights = profiles::rough(6000, 1.0, 5, 11);
  const auto once = mean_line(heights, {.cutoff_mm = 0.5, .spacing_mm = 0.001});
  const auto first = mean_line(heights, {.cutoff_mm = 0.3, .spacing_mm = 0.001});
  const auto twice = mean_line(first, {.cutoff_mm = 0.4, .spacing_mm = 0.001});
  for (std::size_t i = 1000; i < 5000; ++i) ASSERT_NEAR(once[i], twice[i], 5e-7);
}

TEST(GaussianLowPass, SumsShortKernelsDirectlyAndTransformsLongOnes) {
  const auto small =
      GaussianLowPass::prepare({.cutoff_mm = 0.0025, .spacing_mm = 0.0005, .sample_count = 16384});
  const auto large =
      GaussianLowPass::prepare({.cutoff_mm = 0.8, .spacing_mm = 0.0005, .sample_count = 16384});
  EXPECT_FALSE(small->uses_fourier());
  EXPECT_EQ(small->reach(), 5U);
  EXPECT_TRUE(large->uses_fourier());
  EXPECT_EQ(large->reach(), 1600U);
}

// The weight beyond one cut-off is 9.479e-8 (closed form); half a cut-off would lose 7.6e-3.
TEST(GaussianKernel, IsNormalisedAndEndsAtOneCutoff) {
  const auto weights = gaussian_half_kernel({.cutoff_mm = 0.8, .spacing_mm = 0.0005});
  double sum = weights[0];
  for (std::size_t j = 1; j < weights.size(); ++j) sum += 2.0 * weights[j];
  EXPECT_NEAR(sum, 1.0, 1e-14);
  EXPECT_NEAR(weights[0], 0.0005 / (kGaussianAlpha * 0.8), 1e-9);  // density at the middle times the spacing
  EXPECT_EQ(weights.size(), 1601U);
}

}  // namespace
}  // namespace crestgate::analysis
