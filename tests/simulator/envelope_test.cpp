// SPDX-License-Identifier: Apache-2.0
// A tip on surfaces for which the traced profile is known in closed form.

#include "simulator/stylus/envelope.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "simulator/surface/random.h"
#include "simulator/surface/ridges.h"

namespace crestgate::simulator {
namespace {

constexpr double kPi = std::numbers::pi;

// Heights of f(x in um) on -half..half, x = 0 in the middle.
template <class Height>
std::vector<double> sampled(double half_um, double spacing_um, Height height_um) {
  std::vector<double> z;
  const auto n = static_cast<int>(std::lround(half_um / spacing_um));
  for (int i = -n; i <= n; ++i) z.push_back(height_um(i * spacing_um));
  return z;
}

// The obvious way, all pairs: max over u of z(x+u) + b(u) - r.
std::vector<double> obvious_envelope(const std::vector<double>& z, double spacing_um, double r) {
  std::vector<double> traced(z.size());
  for (std::size_t i = 0; i < z.size(); ++i) {
    double best = z[i];
    for (std::size_t j = 0; j < z.size(); ++j) {
      const double u = spacing_um * (static_cast<double>(j) - static_cast<double>(i));
      if (std::abs(u) <= r) best = std::max(best, z[j] + std::sqrt(r * r - u * u) - r);
    }
    traced[i] = best;
  }
  return traced;
}

// A disk in a V with flanks at angle f touches both flanks: depth lost = r (1 / cos f - 1).
TEST(TipEnvelope, LosesTheKnownDepthOfAVGroove) {
  struct Row {
    double radius_um, flank_deg, lost_um;
  };
  // Values of the closed form, to 6 digits.
  const std::vector<Row> rows = {{2, 10, 0.030853},  {2, 20, 0.128356},  {2, 30, 0.309401},
                                 {2, 45, 0.828427},  {5, 10, 0.077133},  {5, 20, 0.320889},
                                 {5, 30, 0.773503},  {5, 45, 2.071068},  {10, 10, 0.154266},
                                 {10, 20, 0.641778}, {10, 30, 1.547005}, {10, 45, 4.142136}};
  for (const Row& row : rows) {
    const double slope = std::tan(row.flank_deg * kPi / 180.0);
    const std::vector<double> z = sampled(40.0, 0.005, [slope](double x) { return slope * std::abs(x); });
    for (const double half_angle : {0.0, 30.0}) {
      const std::vector<double> traced =
          tip_envelope(z, 0.005, {.radius_um = row.radius_um, .cone_half_angle_deg = half_angle});
      // The grid misses the point of contact by at most half a spacing; the disk falls away with its
      // curvature.
      EXPECT_NEAR(traced[z.size() / 2], row.lost_um, 1e-5)
          << row.radius_um << " um, " << row.flank_deg << " deg";
    }
  }
}

// z = A cos(2 pi x / l), A = 1, l = 10 um: while r (2 pi / l)^2 A <= 1 the bottoms are reached; else less.
TEST(TipEnvelope, TracesASineOfKnownPeakToValley) {
  const std::vector<double> z = sampled(60.0, 0.01, [](double x) { return std::cos(2.0 * kPi * x / 10.0); });
  for (const auto& [radius_um, peak_to_valley_um] :
       {std::pair{2.0, 2.000000}, {5.0, 1.665903}, {10.0, 1.020723}}) {
    const std::vector<double> traced =
        tip_envelope(z, 0.01, {.radius_um = radius_um, .cone_half_angle_deg = 0.0});
    const auto inner = std::minmax_element(traced.begin() + 3000, traced.end() - 3000);
    EXPECT_NEAR(*inner.second - *inner.first, peak_to_valley_um, 1e-6) << radius_um;
  }
}

// A crest of radius q is felt as one of radius q + r.
TEST(TipEnvelope, WidensACrestByItsOwnRadius) {
  const auto circle = [](double radius_um) {
    return
        [radius_um](double x) { return std::sqrt(std::max(radius_um * radius_um - x * x, 0.0)) - radius_um; };
  };
  const std::vector<double> z = sampled(8.0, 0.002, circle(8.0));
  const std::vector<double> traced = tip_envelope(z, 0.002, {.radius_um = 5.0, .cone_half_angle_deg = 0.0});
  const std::vector<double> wanted = sampled(8.0, 0.002, circle(13.0));
  for (std::size_t i = z.size() / 4; i < 3 * z.size() / 4; ++i) EXPECT_NEAR(traced[i], wanted[i], 1e-6);
}

TEST(TipEnvelope, IsTheObviousOneOnARandomSurface) {
  RandomStream random(4);
  const std::vector<double> z =
      ridge_texture(2000, 0.25, {.rq_um = 0.8, .correlation_um = 2.0, .skew = 1.0}, random);
  for (const double r : {0.5, 2.0, 5.0, 10.0}) {
    const std::vector<double> quick = tip_envelope(z, 0.25, {.radius_um = r, .cone_half_angle_deg = 0.0});
    const std::vector<double> obvious = obvious_envelope(z, 0.25, r);
    for (std::size_t i = 0; i < z.size(); ++i) EXPECT_NEAR(quick[i], obvious[i], 1e-12);
  }
}

TEST(TipEnvelope, LiesOnOrAboveTheSurfaceAndRisesWithTheRadius) {
  RandomStream random(5);
  std::vector<double> below =
      ridge_texture(5000, 0.25, {.rq_um = 0.5, .correlation_um = 5.0, .skew = 0.0}, random);
  for (const double r : {1.0, 2.0, 5.0, 10.0}) {
    const std::vector<double> traced =
        tip_envelope(below, 0.25, {.radius_um = r, .cone_half_angle_deg = 30.0});
    for (std::size_t i = 0; i < traced.size(); ++i) EXPECT_GE(traced[i], below[i]);
    below = traced;
  }
}

// Down a wall the cone slides on its flank: 60 deg to the surface for a half angle of 30 deg.
TEST(TipEnvelope, ADeepStepIsFeltWithTheSlopeOfTheCone) {
  const std::vector<double> z = sampled(20.0, 0.01, [](double x) { return x > 0.0 ? 10.0 : 0.0; });
  const std::vector<double> traced = tip_envelope(z, 0.01, {.radius_um = 2.0, .cone_half_angle_deg = 30.0});
  const std::size_t edge = z.size() / 2;
  const double fall = traced[edge - 300] - traced[edge - 400];  // between 3 and 4 um before the edge
  EXPECT_NEAR(fall, std::tan(60.0 * kPi / 180.0), 1e-9);
}

TEST(TipEnvelope, APointFeelsEverything) {
  const std::vector<double> z = {0.0, 5.0, -3.0, 1.0};
  EXPECT_EQ(tip_envelope(z, 0.25, {.radius_um = 0.0}), z);
}

}  // namespace
}  // namespace crestgate::simulator
