// SPDX-License-Identifier: Apache-2.0
#include "analysis/morphology/disk_filter.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

using Operation = void (RollingDisk::*)(std::span<const double>, std::span<double>,
                                        RollingDiskWorkspace&) const;

struct Shape {
  double radius_mm;
  double spacing_mm;
};

std::vector<double> rolled(Operation operation, const std::vector<double>& heights, Shape shape) {
  const auto disk = RollingDisk::prepare(
      {.radius_mm = shape.radius_mm, .spacing_mm = shape.spacing_mm, .sample_count = heights.size()});
  EXPECT_TRUE(disk.has_value());
  std::vector<double> result(heights.size());
  RollingDiskWorkspace workspace;
  ((*disk).*operation)(heights, result, workspace);
  return result;
}

// The definition of the dilation, every disk against every sample it can reach.
std::vector<double> defined_dilation(const std::vector<double>& heights, Shape shape) {
  std::vector<double> result(heights.size(), -std::numeric_limits<double>::infinity());
  const double radius_um = 1000.0 * shape.radius_mm;
  for (std::size_t k = 0; k < heights.size(); ++k) {
    for (std::size_t l = 0; l < heights.size(); ++l) {
      const double u = 1000.0 * shape.spacing_mm * (static_cast<double>(l) - static_cast<double>(k));
      if (std::abs(u) > radius_um * (1.0 + 1e-12)) continue;
      result[k] = std::max(result[k], heights[l] + std::sqrt(std::max(0.0, radius_um * radius_um - u * u)));
    }
  }
  return result;
}

std::vector<double> upside_down(std::vector<double> heights) {
  for (double& height : heights) height = -height;
  return heights;
}

struct Named {
  std::string name;
  std::vector<double> heights;
};

std::vector<Named> profiles_of(std::size_t count) {
  std::vector<Named> all{
      {"rough", profiles::rough(count, 1.0, 3, 1)},   {"noise", profiles::rough(count, 1.0, 0, 2)},
      {"steep", profiles::rough(count, 300.0, 0, 3)}, {"flat", std::vector<double>(count, 2.5)},
      {"steps", profiles::rough(count, 2.0, 0, 4)},   {"spikes", std::vector<double>(count, 0.0)},
      {"slope", std::vector<double>(count)}};
  for (double& height : all[4].heights) height = std::round(height);  // many equal heights
  for (std::size_t i = 0; i < count; i += 17) all[5].heights[i] = 5.0;
  for (std::size_t i = 0; i < count; ++i) all[6].heights[i] = 0.7 * static_cast<double>(i);
  return all;
}

// Radii from far below the spacing to several millimetres over heights of micrometres.
constexpr Shape kShapes[] = {{0.0001, 0.0005}, {0.0005, 0.0005}, {0.002, 0.0005}, {0.005, 0.001},
                             {0.05, 0.0005},   {0.1, 0.001},     {5.0, 0.0005},   {100.0, 0.001}};

TEST(RollingDisk, DilationIsItsDefinition) {
  for (const std::size_t count : {1U, 2U, 3U, 40U, 400U}) {
    for (const Named& profile : profiles_of(count)) {
      for (const Shape shape : kShapes) {
        const auto found = rolled(&RollingDisk::dilate, profile.heights, shape);
        const auto expected = defined_dilation(profile.heights, shape);
        // Rounding of the square root for a disk of up to 1e5 um.
        const double rounding = 1e-12 * (1000.0 * shape.radius_mm + 300.0) + 1e-11;
        for (std::size_t k = 0; k < count; ++k) {
          ASSERT_NEAR(found[k], expected[k], rounding)
              << profile.name << " " << count << " " << shape.radius_mm;
        }
      }
    }
  }
}

TEST(RollingDisk, ClosingIsErosionOfTheDilation) {
  for (const Named& profile : profiles_of(300)) {
    for (const Shape shape : kShapes) {
      const auto found = rolled(&RollingDisk::close, profile.heights, shape);
      const auto dilated = defined_dilation(profile.heights, shape);
      const auto expected = upside_down(defined_dilation(upside_down(dilated), shape));
      const double rounding = 1e-12 * (1000.0 * shape.radius_mm + 300.0) + 1e-11;
      for (std::size_t k = 0; k < found.size(); ++k) {
        ASSERT_NEAR(found[k], expected[k], rounding) << profile.name << " " << shape.radius_mm;
      }
    }
  }
}

TEST(RollingDisk, TracedProfileIsTheDilationLessTheRadius) {
  for (const Shape shape : kShapes) {
    const auto z = profiles::rough(500, 1.0, 3, 6);
    const auto traced = rolled(&RollingDisk::trace, z, shape);
    const auto dilated = rolled(&RollingDisk::dilate, z, shape);
    for (std::size_t k = 0; k < z.size(); ++k) {
      ASSERT_NEAR(traced[k], dilated[k] - 1000.0 * shape.radius_mm, 1e-10);
    }
  }
}

TEST(RollingDisk, ClosingCoversTheProfileTouchesItAndIsIdempotent) {
  for (const Named& profile : profiles_of(600)) {
    for (const Shape shape : kShapes) {
      const auto once = rolled(&RollingDisk::close, profile.heights, shape);
      const auto twice = rolled(&RollingDisk::close, once, shape);
      std::size_t touching = 0;
      for (std::size_t k = 0; k < once.size(); ++k) {
        ASSERT_GE(once[k], profile.heights[k]);
        ASSERT_NEAR(twice[k], once[k], 1e-10) << profile.name << " " << shape.radius_mm;
        if (once[k] - profile.heights[k] < 1e-10) ++touching;
      }
      EXPECT_GE(touching, 1U) << profile.name << " " << shape.radius_mm;
    }
  }
}

TEST(RollingDisk, OpeningAndErosionAreTheOthersUpsideDown) {
  for (const Named& profile : profiles_of(300)) {
    for (const Shape shape : kShapes) {
      const auto below = upside_down(profile.heights);
      EXPECT_EQ(rolled(&RollingDisk::open, profile.heights, shape),
                upside_down(rolled(&RollingDisk::close, below, shape)));
      EXPECT_EQ(rolled(&RollingDisk::erode, profile.heights, shape),
                upside_down(rolled(&RollingDisk::dilate, below, shape)));
    }
  }
}

TEST(RollingDisk, ABiggerTipNeverReadsLower) {
  for (const Named& profile : profiles_of(600)) {
    std::vector<double> last = profile.heights;
    for (const double radius_mm : {0.0003, 0.001, 0.002, 0.005, 0.02, 0.1, 1.0, 10.0}) {
      const auto traced =
          rolled(&RollingDisk::trace, profile.heights, {.radius_mm = radius_mm, .spacing_mm = 0.0005});
      for (std::size_t k = 0; k < traced.size(); ++k) ASSERT_GE(traced[k], last[k] - 1e-12) << profile.name;
      last = traced;
    }
  }
}

// A smaller disk rolls inside a bigger one where the bigger goes, if only its centre may lie anywhere;
// between centres at the samples it sags by up to dx^2 / (2 r) on arcs of moderate slope.
TEST(RollingDisk, ABiggerDiskSinksNoDeeperThanSamplingAllows) {
  const std::vector<double> z = profiles::rough(3000, 0.3, 12, 1);
  const double spacing_mm = 0.0005;
  double last_radius_mm = 0.002;
  auto last = rolled(&RollingDisk::close, z, {.radius_mm = last_radius_mm, .spacing_mm = spacing_mm});
  for (const double radius_mm : {0.005, 0.02, 0.1, 1.0, 10.0}) {
    const auto closed = rolled(&RollingDisk::close, z, {.radius_mm = radius_mm, .spacing_mm = spacing_mm});
    const double sag_um = 1000.0 * spacing_mm * spacing_mm / (2.0 * last_radius_mm);
    for (std::size_t k = 0; k < closed.size(); ++k) ASSERT_GE(closed[k], last[k] - sag_um) << radius_mm;
    last = closed;
    last_radius_mm = radius_mm;
  }
}

TEST(RollingDisk, ForwardAndBackwardAreTheSame) {
  const auto z = profiles::rough(800, 1.0, 4, 12);
  const std::vector<double> reversed(z.rbegin(), z.rend());
  for (const Shape shape : kShapes) {
    const auto forward = rolled(&RollingDisk::close, z, shape);
    auto backward = rolled(&RollingDisk::close, reversed, shape);
    std::ranges::reverse(backward);
    for (std::size_t k = 0; k < z.size(); ++k) ASSERT_NEAR(forward[k], backward[k], 1e-11);
  }
}

struct Groove {
  double flank_degrees;
  double lost_um[3];  // for radii of 2, 5 and 10 um
};

// Closed form: a disk of radius r lying on both flanks of a V loses r (1/cos f - 1) of its depth.
TEST(RollingDisk, LosesTheDepthOfAGrooveByTheClosedForm) {
  const Groove rows[] = {{10.0, {0.030853, 0.077133, 0.154266}},
                         {20.0, {0.128356, 0.320889, 0.641778}},
                         {30.0, {0.309401, 0.773503, 1.547005}},
                         {45.0, {0.828427, 2.071068, 4.142136}}};
  constexpr double kRadii[] = {0.002, 0.005, 0.010};
  for (const Groove& row : rows) {
    const double slope = std::tan(row.flank_degrees * profiles::kPi / 180.0);
    const auto groove =
        profiles::sampled(8001, 0.00001, [&](double x) { return slope * std::abs(x - 0.04) * 1000.0; });
    for (std::size_t i = 0; i < 3; ++i) {
      const auto traced =
          rolled(&RollingDisk::trace, groove, {.radius_mm = kRadii[i], .spacing_mm = 0.00001});
      // Touching at samples only: half a spacing from the true point at most, where the arc's curvature is
      // 1 / (r cos^3 f).
      const double curvature = 0.001 / kRadii[i] * std::pow(1.0 + slope * slope, 1.5);
      EXPECT_NEAR(*std::ranges::min_element(traced), row.lost_um[i], 0.5 * 0.005 * 0.005 * curvature + 6e-7)
          << row.flank_degrees << " " << kRadii[i];
    }
  }
}

// z = cos(2 pi x / 10 um), A = 1 um: bottoms are reached while k r = A (2 pi / l)^2 r <= 1, beyond that the
// peak-to-valley of the traced profile falls. Values: the naive definition at the same spacing of 0.01 um,
// independent computation with NumPy.
TEST(RollingDisk, FollowsASineOnlyWhileTheBottomsAreWideEnough) {
  const auto wave =
      profiles::sampled(6000, 0.00001, [](double x) { return profiles::sine(x, 0.01, profiles::kPi / 2); });
  const std::pair<double, double> rows[] = {{0.002, 2.0}, {0.005, 1.665903}, {0.010, 1.020723}};
  for (const auto& [radius_mm, height_um] : rows) {
    const auto traced = rolled(&RollingDisk::trace, wave, {.radius_mm = radius_mm, .spacing_mm = 0.00001});
    const auto [low, high] = std::minmax_element(traced.begin() + 1500, traced.begin() + 4500);
    EXPECT_NEAR(*high - *low, height_um, 6e-7) << radius_mm;
  }
}

// A crest of radius q is traced by r as one of radius q + r: closed form, the offset of a circle.
TEST(RollingDisk, TracesACrestWithTheSumOfTheRadii) {
  const double crest_um = 200.0;
  const auto crest = profiles::sampled(401, 0.0001, [&](double x) {
    const double u = 1000.0 * (x - 0.02);
    return std::sqrt(crest_um * crest_um - u * u) - crest_um;
  });
  const auto traced = rolled(&RollingDisk::trace, crest, {.radius_mm = 0.05, .spacing_mm = 0.0001});
  for (std::size_t i = 50; i < 351; ++i) {
    const double u = 0.1 * (static_cast<double>(i) - 200.0);
    EXPECT_NEAR(traced[i], std::sqrt(250.0 * 250.0 - u * u) - 250.0, 1e-4) << i;
  }
}

// Radius and spacing in mm, heights in um: a disk of 5 mm over a spike of 1 um makes a bump sqrt(2 r h) = 100
// um wide on each side.
TEST(RollingDisk, IsRoundInOneUnit) {
  std::vector<double> z(2001, 0.0);
  z[1000] = 1.0;
  const auto traced = rolled(&RollingDisk::trace, z, {.radius_mm = 5.0, .spacing_mm = 0.0005});
  EXPECT_NEAR(traced[1000], 1.0, 1e-12);
  EXPECT_NEAR(traced[1000 + 100], 1.0 - 50.0 * 50.0 / 10000.0, 1e-4);  // 50 um away: u^2 / (2 r) lower
  EXPECT_GT(traced[1000 + 199], 0.0);
  EXPECT_NEAR(traced[1000 + 201], 0.0, 1e-12);
}

TEST(RollingDisk, RefusesARadiusOfNothing) {
  for (const double radius_mm : {0.0, -0.002, std::nan(""), std::numeric_limits<double>::infinity()}) {
    const auto disk = RollingDisk::prepare({.radius_mm = radius_mm, .sample_count = 100});
    ASSERT_FALSE(disk.has_value());
    EXPECT_EQ(disk.error().code, base::ErrorCode::kOutOfRange);
  }
}

}  // namespace
}  // namespace crestgate::analysis
