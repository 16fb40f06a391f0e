// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/spline_filter.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filter_profiles.h"
#include "analysis/filtered.h"

namespace crestgate::analysis {
namespace {

// Closed form: the matrix applied to a sine in the interior. 0.5 at the cut-off for every beta.
TEST(SplineFilter, PassesAmplitudesByItsClosedForm) {
  for (const std::size_t cutoff : {10U, 160U, 1600U, 16000U}) {
    const double spacing = 0.0005;
    const double cutoff_mm = spacing * static_cast<double>(cutoff);
    const std::size_t half = 7 * cutoff;
    for (const double beta : {0.0, 0.3, 0.625242, 1.0}) {
      for (const double wavelength : {0.4, 1.0, 3.0}) {
        const auto heights = profiles::sampled(2 * half + 1, spacing, [&](double x) {
          return profiles::sine(x - static_cast<double>(half) * spacing, wavelength * cutoff_mm,
                                profiles::kPi / 2);
        });
        const double a = 0.5 / std::sin(profiles::kPi / static_cast<double>(cutoff));
        const double b = 2.0 * std::sin(profiles::kPi / static_cast<double>(cutoff) / wavelength);
        const double expected = 1.0 / (1.0 + beta * a * a * b * b + (1.0 - beta) * std::pow(a * b, 4.0));
        const auto w = spline(heights, {.cutoff_mm = cutoff_mm, .spacing_mm = spacing, .beta = beta});
        EXPECT_NEAR(w[half], expected, cutoff > 1600 ? 1e-8 : 1e-10)
            << cutoff << " " << beta << " " << wavelength;
      }
    }
  }
}

// Cubic: the matrix leaves straight lines alone. With beta 0.625242 a line of slope 2/mm over 5.6 mm is
// missed by up to 0.174 height units at the ends (independent computation with SciPy's banded solver).
TEST(SplineFilter, KeepsAStraightLineOnlyWithoutTension) {
  const auto line = profiles::sampled(5601, 0.001, [](double x) { return 3.0 + 2.0 * x; });
  const auto cubic = spline(line, {.cutoff_mm = 0.8, .spacing_mm = 0.001, .beta = 0.0});
  const auto tense = spline(line, {.cutoff_mm = 0.8, .spacing_mm = 0.001, .beta = 0.625242});
  double missed = 0.0;
  for (std::size_t i = 0; i < line.size(); ++i) {
    ASSERT_NEAR(cubic[i], line[i], 1e-13);
    missed = std::max(missed, std::abs(tense[i] - line[i]));
  }
  EXPECT_NEAR(missed, 0.174, 5e-4);
}

// The equation itself, in long double: what the matrix makes of w must be z.
TEST(SplineFilter, SolvesItsEquationForEveryLength) {
  for (const double beta : {0.0, 0.625242, 1.0}) {
    for (std::size_t n = 1; n <= 40; ++n) {
      std::vector<double> z = profiles::rough(n, 1.0, 1, n);
      for (std::size_t i = 0; i < n; ++i) z[i] += 0.3 * static_cast<double>(i);
      const auto w = spline(z, {.cutoff_mm = 0.02, .spacing_mm = 0.001, .beta = beta});
      const long double a = 0.5L / std::sin(std::numbers::pi_v<long double> / 20.0L);
      std::vector<long double> sums(w.begin(), w.end());
      for (std::size_t i = 0; i + 1 < n; ++i) {
        const long double step = static_cast<long double>(beta) * a * a *
                                 (static_cast<long double>(w[i]) - static_cast<long double>(w[i + 1]));
        sums[i] += step;
        sums[i + 1] -= step;
      }
      for (std::size_t i = 0; i + 2 < n; ++i) {
        const long double turn = (1.0L - static_cast<long double>(beta)) * std::pow(a, 4.0L) *
                                 (static_cast<long double>(w[i]) - 2.0L * static_cast<long double>(w[i + 1]) +
                                  static_cast<long double>(w[i + 2]));
        sums[i] += turn;
        sums[i + 1] -= 2.0L * turn;
        sums[i + 2] += turn;
      }
      for (std::size_t i = 0; i < n; ++i) {
        ASSERT_NEAR(static_cast<double>(sums[i]), z[i], 1e-11) << beta << " " << n << " " << i;
      }
    }
  }
}

TEST(SplineFilter, RefusesImpossibleSettings) {
  const auto refuses = [](const SplineOptions& options) {
    const auto filter = SplineFilter::prepare(options);
    return !filter && filter.error().code == base::ErrorCode::kOutOfRange;
  };
  EXPECT_TRUE(refuses({.sample_count = 100, .beta = -0.1}));
  EXPECT_TRUE(refuses({.sample_count = 100, .beta = 1.1}));
  EXPECT_TRUE(refuses({.sample_count = 100, .beta = std::nan("")}));
  EXPECT_TRUE(refuses({.cutoff_mm = 0.001, .spacing_mm = 0.0005, .sample_count = 100}));
  EXPECT_FALSE(refuses({.sample_count = 100, .beta = 1.0}));
}

}  // namespace
}  // namespace crestgate::analysis
