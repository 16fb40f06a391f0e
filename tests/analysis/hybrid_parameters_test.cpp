// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/hybrid_parameters.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

HybridParameters hybrid_of(const std::vector<double>& z, double spacing_mm, std::size_t run_up = 0) {
  return hybrid_parameters({.whole_um = z,
                            .first_sample = run_up,
                            .sample_count = z.size() - 2 * run_up,
                            .spacing_mm = spacing_mm});
}

// Closed form of the rule on a sine of n samples a period: (sin 3t - 9 sin 2t + 45 sin t) / (30 t), t = 2 pi
// / n.
TEST(HybridParameters, TheGradientRuleHasItsKnownGainOnASine) {
  const std::pair<int, double> rows[] = {{4, 0.933709}, {10, 0.999593}, {20, 0.999993}};
  for (const auto& [samples, gain] : rows) {
    const double wavelength_mm = samples * 0.001;
    const auto z = profiles::sampled(static_cast<std::size_t>(100 * samples) + 6, 0.001,
                                     [&](double x) { return profiles::sine(x, wavelength_mm, 0.3); });
    const double slope = 2.0 * profiles::kPi / (wavelength_mm * 1000.0);
    EXPECT_NEAR(hybrid_of(z, 0.001, 3).root_mean_square_gradient, gain * slope / std::sqrt(2.0), 5e-7 * slope)
        << samples;
  }
}

// Closed forms for amplitude A and period l: Rdq = sqrt 2 pi A / l, Rda = 4 A / l, Rdt = 2 pi A / l.
TEST(HybridParameters, OfASineInClosedForm) {
  const auto z = profiles::sampled(10006, 1e-4, [](double x) { return 3.0 * profiles::sine(x, 0.1, 0.2); });
  const HybridParameters found = hybrid_of(z, 1e-4, 3);
  EXPECT_NEAR(found.root_mean_square_gradient, std::sqrt(2.0) * profiles::kPi * 0.03, 1e-9);
  EXPECT_NEAR(found.arithmetic_mean_gradient, 0.12, 1e-6);
  EXPECT_NEAR(found.largest_gradient, 2.0 * profiles::kPi * 0.03, 1e-6);
}

// Closed form: Rdr of a sine of largest slope s is 2 / pi sqrt(1 + s^2) E(s^2 / (1 + s^2)) - 1.
TEST(HybridParameters, TheDevelopedRatioOfASineIsAnEllipticIntegral) {
  const std::pair<double, double> rows[] = {
      {0.1, 0.24953319}, {0.5, 5.98393802}, {1.0, 21.60067234}, {2.0, 67.76099719}};
  for (const auto& [slope, percent] : rows) {
    const double amplitude_um = slope * 100.0 / (2.0 * profiles::kPi);
    const auto z = profiles::sampled(
        50001, 1e-5, [amplitude_um](double x) { return amplitude_um * profiles::sine(x, 0.1, 0.4); });
    const HybridParameters found = hybrid_of(z, 1e-5);
    // Chords: short by the square of the sampling step.
    EXPECT_NEAR(found.developed_ratio_percent, percent, 2e-7 * percent) << slope;
    EXPECT_NEAR(found.developed_length_mm, 0.5 * (1.0 + percent / 100.0), 1e-8) << slope;
  }
}

TEST(HybridParameters, OfATriangleAreItsOneSlope) {
  std::vector<double> z;
  for (int i = 0; i < 4006; ++i) {
    const double phase = std::fmod(i / 1000.0, 1.0);
    z.push_back(2.0 * (phase < 0.5 ? 4.0 * phase - 1.0 : 3.0 - 4.0 * phase));
  }
  const HybridParameters found = hybrid_of(z, 0.0001, 3);  // l = 0.1 mm, A = 2 um: 4 A / l = 0.08
  // Beside a corner the rule takes 45 * 2 - 9 * 2 + 2 sixtieths of the slope.
  EXPECT_NEAR(found.largest_gradient, 0.08 * 74.0 / 60.0, 1e-12);
  EXPECT_NEAR(found.arithmetic_mean_gradient, 0.08, 5e-3 * 0.08);
  EXPECT_NEAR(found.developed_ratio_percent, 100.0 * (std::hypot(1.0, 0.08) - 1.0), 1e-9);
}

TEST(HybridParameters, OnlyTheThreeSamplesNextToTheEvaluationLengthMatter) {
  const std::vector<double> flat(100, 0.0);
  const auto with_spike_at = [&flat](std::size_t sample) {
    std::vector<double> z = flat;
    z[sample] = 60.0;
    return hybrid_of(z, 0.001, 20);
  };
  EXPECT_EQ(with_spike_at(16).largest_gradient, 0.0);
  EXPECT_DOUBLE_EQ(with_spike_at(17).largest_gradient, 1.0);
  EXPECT_DOUBLE_EQ(with_spike_at(19).largest_gradient, 45.0);
  EXPECT_DOUBLE_EQ(with_spike_at(80).largest_gradient, 45.0);
  EXPECT_DOUBLE_EQ(with_spike_at(82).largest_gradient, 1.0);
  EXPECT_EQ(with_spike_at(83).largest_gradient, 0.0);
  EXPECT_EQ(with_spike_at(19).developed_ratio_percent, 0.0);
}

TEST(HybridParameters, WithoutARunUpTheOutermostThreeGradientsAreLeftOut) {
  // One slope in the middle, none at the ends: the mean is over n - 6 gradients.
  std::vector<double> z(207, 0.0);
  for (std::size_t i = 0; i < z.size(); ++i) z[i] = 0.001 * static_cast<double>(i);
  const HybridParameters found = hybrid_of(z, 0.001);
  EXPECT_NEAR(found.arithmetic_mean_gradient, 0.001, 1e-15);
  EXPECT_NEAR(found.root_mean_square_gradient, 0.001, 1e-15);
  EXPECT_NEAR(found.developed_length_mm, 0.206 * std::hypot(1.0, 0.001), 1e-15);
  // With the spike at the first sample only the gradient three further on sees it, of 201.
  std::vector<double> spiked(207, 0.0);
  spiked[0] = 60.0;
  EXPECT_DOUBLE_EQ(hybrid_of(spiked, 0.001).arithmetic_mean_gradient, 1.0 / 201.0);
}

TEST(HybridParameters, AreTheSameSumsAtEveryLength) {
  // The sums run in blocks: lengths on either side of a block's end against the definition, written out.
  for (const std::size_t count : {7U, 8U, 130U, 134U, 135U, 263U, 1000U}) {
    const auto z = profiles::rough(count, 0.5, 3, count);
    double squares = 0.0;
    double absolute = 0.0;
    double length = 0.0;
    for (std::size_t i = 3; i + 3 < count; ++i) {
      const double g =
          (z[i + 3] - 9.0 * z[i + 2] + 45.0 * z[i + 1] - 45.0 * z[i - 1] + 9.0 * z[i - 2] - z[i - 3]) /
          (60.0 * 0.5);
      squares += g * g;
      absolute += std::abs(g);
    }
    for (std::size_t i = 0; i + 1 < count; ++i) length += std::hypot(0.5, z[i + 1] - z[i]);
    const double n = static_cast<double>(count - 6);
    const HybridParameters found = hybrid_of(z, 0.0005);
    EXPECT_NEAR(found.root_mean_square_gradient, std::sqrt(squares / n), 1e-12) << count;
    EXPECT_NEAR(found.arithmetic_mean_gradient, absolute / n, 1e-12) << count;
    EXPECT_NEAR(found.developed_length_mm, 0.001 * length, 1e-12) << count;
  }
}

TEST(HybridParameters, HalvingTheSpacingOfASmoothProfileChangesNothing) {
  const auto smooth = [](double x) { return profiles::sine(x, 0.05) + 0.3 * profiles::sine(x, 0.03, 1.0); };
  const double coarse =
      hybrid_of(profiles::sampled(3006, 0.0005, smooth), 0.0005, 3).root_mean_square_gradient;
  const double fine =
      hybrid_of(profiles::sampled(6006, 0.00025, smooth), 0.00025, 3).root_mean_square_gradient;
  EXPECT_NEAR(fine / coarse, 1.0, 1e-4);
}

}  // namespace
}  // namespace crestgate::analysis
