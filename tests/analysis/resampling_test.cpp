// SPDX-License-Identifier: Apache-2.0
// Every expected value is the closed form of the profile at the new positions.
#include "analysis/profile/resampling.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

struct Ratio {
  double measured_mm, wanted_mm;
};
constexpr Ratio kRatios[] = {{0.0001, 0.0005}, {0.00025, 0.0005}, {0.00025, 0.000675}, {0.0002, 0.0007}};

std::vector<double> resampled(const std::vector<double>& heights_um, const Ratio& ratio) {
  const auto resampling = Resampling::prepare({.measured_spacing_mm = ratio.measured_mm,
                                               .spacing_mm = ratio.wanted_mm,
                                               .sample_count = heights_um.size()});
  EXPECT_TRUE(resampling.has_value());
  std::vector<double> result(resampling->output_count());
  resampling->apply(heights_um, result);
  return result;
}

// The largest difference from the closed form, away from the ends.
template <class HeightAt>
double worst(const std::vector<double>& z, double spacing_mm, HeightAt height_at, std::size_t margin) {
  double most = 0.0;
  for (std::size_t k = margin; k + margin < z.size(); ++k) {
    most = std::max(most, std::abs(z[k] - height_at(static_cast<double>(k) * spacing_mm)));
  }
  return most;
}

TEST(Resampling, ASineOf1Point3NewSpacingsDoesNotComeBackAsALongWave) {
  for (const Ratio& ratio : kRatios) {
    for (const double share : {1.3, 1.05, 1.6, 1.99}) {
      if (share * ratio.wanted_mm < 2.2 * ratio.measured_mm) continue;  // the measurement could not hold it
      const auto z = profiles::sampled(20000, ratio.measured_mm, [&](double x) {
        return profiles::sine(x, share * ratio.wanted_mm, 0.3);
      });
      const auto r = resampled(z, ratio);
      EXPECT_LT(worst(
                    r, ratio.wanted_mm, [](double) { return 0.0; }, kResamplingReach),
                1e-4)
          << ratio.wanted_mm << " " << share;
    }
  }
}

TEST(Resampling, ASineOf20NewSpacingsKeepsItsShapeAndRa) {
  for (const Ratio& ratio : kRatios) {
    const double wavelength_mm = 20.0 * ratio.wanted_mm;
    const auto height_at = [&](double x) { return profiles::sine(x, wavelength_mm, 0.3); };
    const auto r = resampled(profiles::sampled(20000, ratio.measured_mm, height_at), ratio);
    EXPECT_LT(worst(r, ratio.wanted_mm, height_at, kResamplingReach), 1e-4);
    // Ra of a sine is 2 / pi; 20 samples a period know it to 0.4 %, so it is held against the same 20
    // samples.
    double mean = 0.0;
    double expected = 0.0;
    for (std::size_t k = 100; k < 1100; ++k) {
      mean += std::abs(r[k]) / 1000.0;
      expected += std::abs(height_at(static_cast<double>(k) * ratio.wanted_mm)) / 1000.0;
    }
    EXPECT_NEAR(mean / expected, 1.0, 1e-3);
    EXPECT_NEAR(expected, 2.0 / profiles::kPi, 5e-3);
  }
}

TEST(Resampling, WavelengthsOfThreeNewSpacingsAreKept) {
  for (const Ratio& ratio : kRatios) {
    const auto height_at = [&](double x) { return profiles::sine(x, 3.0 * ratio.wanted_mm, 0.7); };
    const auto r = resampled(profiles::sampled(20000, ratio.measured_mm, height_at), ratio);
    EXPECT_LT(worst(r, ratio.wanted_mm, height_at, kResamplingReach), 1e-4);
  }
}

TEST(Resampling, AConstantAndATiltedLineStayWhatTheyAreUpToTheEnds) {
  for (const Ratio& ratio : kRatios) {
    const auto line = [](double x) { return 7.0 + 5.0 * x; };
    const auto r = resampled(profiles::sampled(4000, ratio.measured_mm, line), ratio);
    EXPECT_LT(worst(r, ratio.wanted_mm, line, 0), 1e-7);
    const auto constant = [](double) { return 3.0; };
    const auto c = resampled(profiles::sampled(4000, ratio.measured_mm, constant), ratio);
    EXPECT_LT(worst(c, ratio.wanted_mm, constant, 0), 1e-13);
  }
}

TEST(Resampling, TheLastNewSampleIsNotBeyondTheLastMeasuredOne) {
  const auto count = [](std::size_t samples, const Ratio& ratio) {
    const auto resampling = Resampling::prepare(
        {.measured_spacing_mm = ratio.measured_mm, .spacing_mm = ratio.wanted_mm, .sample_count = samples});
    return resampling->output_count();
  };
  EXPECT_EQ(count(1001, {0.0001, 0.0005}), 201U);
  EXPECT_EQ(count(1000, {0.0001, 0.0005}), 200U);
  EXPECT_EQ(count(1004, {0.0001, 0.0003}), 335U);  // 3 * 0.0001 is not 0.0003 in binary
}

TEST(Resampling, RefusesFinerThanMeasuredAndTooShort) {
  const auto finer =
      Resampling::prepare({.measured_spacing_mm = 0.001, .spacing_mm = 0.0005, .sample_count = 5000});
  ASSERT_FALSE(finer.has_value());
  EXPECT_EQ(finer.error().code, base::ErrorCode::kOutOfRange);
  EXPECT_EQ(finer.error().detail,
            "the trace was measured every 1 um; resampling it to every 0.5 um would invent detail");
  const auto brief =
      Resampling::prepare({.measured_spacing_mm = 0.0005, .spacing_mm = 0.001, .sample_count = 45});
  ASSERT_FALSE(brief.has_value());
  EXPECT_EQ(brief.error().code, base::ErrorCode::kTooShort);
  EXPECT_TRUE(Resampling::prepare({.measured_spacing_mm = 0.0005, .spacing_mm = 0.001, .sample_count = 46})
                  .has_value());
  EXPECT_EQ(Resampling::prepare({.measured_spacing_mm = 0.0, .spacing_mm = 0.001, .sample_count = 5000})
                .error()
                .code,
            base::ErrorCode::kInvalidConfig);
}

}  // namespace
}  // namespace crestgate::analysis
