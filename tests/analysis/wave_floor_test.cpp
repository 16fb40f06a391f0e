// SPDX-License-Identifier: Apache-2.0
// The detection floor against simulated faces: what it promises must come true.
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/waves/detection_floor.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.002;
constexpr FormRemoval kLine{.kind = FormKind::kLine};
constexpr FormRemoval kArc{.kind = FormKind::kArc};
constexpr FormRemoval kParabola{.kind = FormKind::kPolynomial, .degree = 2};

// A wavelength and phase of sin(2 pi x / l + phase).
struct Place {
  double spacing_mm = 0.0;
  double phase = 0.0;
};

struct Case {
  double face_mm;
  WaveBand band;
  FormRemoval form;
  double correlation_mm;
  unsigned seeds = 100;
};

// Where form and face leave least of a wave, found by trying: least squares of the form, written out here.
Place least_favourable(const Case& c) {
  const int points = 256;
  const int degree = c.form.kind == FormKind::kLine ? 1 : 2;
  Place worst;
  double least = std::numeric_limits<double>::infinity();
  for (int k = 0; k <= 100; ++k) {
    const double spacing_mm = c.band.longest_mm * std::pow(c.band.shortest_mm / c.band.longest_mm, k / 100.0);
    for (int turn = 0; turn < 48; ++turn) {
      const double phase = std::numbers::pi * turn / 48.0;
      double squares = 0.0;
      double with[3] = {};  // products with the Legendre polynomials, nearly orthonormal on many points
      for (int i = 0; i < points; ++i) {
        const double t = (2.0 * i + 1.0) / points - 1.0;
        const double z = profiles::sine(0.5 * (t + 1.0) * c.face_mm, spacing_mm, phase);
        squares += z * z;
        with[0] += z;
        with[1] += z * t * std::sqrt(3.0);
        with[2] += z * 0.5 * (3.0 * t * t - 1.0) * std::sqrt(5.0);
      }
      for (int term = 0; term <= degree; ++term) squares -= with[term] * with[term] / points;
      if (squares < least) {
        least = squares;
        worst = {.spacing_mm = spacing_mm, .phase = phase};
      }
    }
  }
  return worst;
}

class Simulation {
 public:
  explicit Simulation(const Case& c)
      : case_(c),
        count_(static_cast<std::size_t>(std::round(c.face_mm / kSpacing))),
        search_(*WaveSearch::prepare(
            {.band = c.band, .form = c.form, .spacing_mm = kSpacing, .sample_count = count_})) {}

  [[nodiscard]] std::vector<double> rough(unsigned seed) const {
    const auto correlation = static_cast<std::size_t>(std::round(case_.correlation_mm / kSpacing));
    return profiles::rough(count_, 0.4, correlation, 70000 + seed);
  }

  WaveFinding find(std::vector<double> z, double height_um = 0.0, const Place& place = {.spacing_mm = 1.0}) {
    for (std::size_t i = 0; i < z.size(); ++i) {
      z[i] +=
          0.5 * height_um * profiles::sine(static_cast<double>(i) * kSpacing, place.spacing_mm, place.phase);
    }
    return *search_.find(z, workspace_);
  }

 private:
  Case case_;
  std::size_t count_;
  WaveSearch search_;
  WaveWorkspace workspace_;
};

const Case kCases[] = {
    {5.0, {0.5, 2.5}, kArc, 0.01},   {5.0, {0.5, 5.0}, kParabola, 0.04}, {5.0, {0.5, 5.0}, kArc, 0.08},
    {5.0, {3.0, 5.0}, kLine, 0.02},  {10.0, {0.5, 5.0}, kArc, 0.01},     {10.0, {0.5, 6.7}, kParabola, 0.04},
    {10.0, {1.0, 10.0}, kArc, 0.08}, {20.0, {0.5, 6.7}, kArc, 0.02},     {20.0, {0.5, 6.7}, kLine, 0.08}};

// At the least favourable wavelength and phase; 95 % is promised.
TEST(WaveFloor, AWaveOfThatHeightIsFoundNearlyAlwaysAndOneOfAThirdNearlyNever) {
  for (const Case& c : kCases) {
    Simulation simulation(c);
    const Place place = least_favourable(c);
    unsigned found = 0;
    unsigned found_third = 0;
    for (unsigned seed = 0; seed < c.seeds; ++seed) {
      const auto z = simulation.rough(seed);
      const double floor_um = simulation.find(z).floor_um;
      ASSERT_GT(floor_um, 0.0);
      found += simulation.find(z, floor_um, place).found ? 1U : 0U;
      found_third += simulation.find(z, floor_um / 3.0, place).found ? 1U : 0U;
    }
    const std::string where = std::to_string(c.face_mm) + " mm, " + std::to_string(c.correlation_mm) + " mm";
    EXPECT_GE(found, c.seeds * 95 / 100) << where;
    EXPECT_LE(found_third, c.seeds * 5 / 100) << where;
  }
}

// At any wavelength and phase of the band.
TEST(WaveFloor, HoldsForEveryWavelengthAndPhaseOfTheBand) {
  std::mt19937_64 generator(5);
  const auto uniform = [&generator] { return static_cast<double>(generator() >> 11U) * 0x1.0p-53; };
  for (const Case& c : kCases) {
    Simulation simulation(c);
    unsigned found = 0;
    for (unsigned seed = 0; seed < c.seeds; ++seed) {
      const auto z = simulation.rough(1000 + seed);
      const double per_mm =
          1.0 / c.band.longest_mm + uniform() * (1.0 / c.band.shortest_mm - 1.0 / c.band.longest_mm);
      const Place place{.spacing_mm = 1.0 / per_mm, .phase = 2.0 * std::numbers::pi * uniform()};
      found += simulation.find(z, simulation.find(z).floor_um, place).found ? 1U : 0U;
    }
    EXPECT_GE(found, c.seeds * 97 / 100) << c.face_mm << " mm, " << c.correlation_mm << " mm";
  }
}

// The floor beside found waves: near the one of the same face without them, and kept by a second wave.
TEST(WaveFloor, IsMeaningfulWhenWavesAreFound) {
  const Case c{10.0, {0.5, 5.0}, kArc, 0.02};
  Simulation simulation(c);
  unsigned both = 0;
  const unsigned seeds = 100;
  for (unsigned seed = 0; seed < seeds; ++seed) {
    const auto z = simulation.rough(2000 + seed);
    const double alone_um = simulation.find(z).floor_um;
    auto wavy = z;
    for (std::size_t i = 0; i < wavy.size(); ++i) {
      wavy[i] += 2.0 * profiles::sine(static_cast<double>(i) * kSpacing, 2.2, 0.1 * seed);
    }
    const WaveFinding first = simulation.find(wavy);
    ASSERT_TRUE(first.found);
    EXPECT_NEAR(first.floor_um, alone_um, 0.35 * alone_um);
    const Place second{.spacing_mm = 1.1, .phase = 0.3 * seed};
    both += simulation.find(wavy, first.floor_um, second).waves >= 2 ? 1U : 0U;
  }
  EXPECT_GE(both, seeds * 95 / 100);
}

TEST(WaveFloor, GrowsInProportionToTheRoughness) {
  Simulation simulation({10.0, {0.5, 5.0}, kParabola, 0.02});
  auto z = simulation.rough(1);
  const double once_um = simulation.find(z).floor_um;
  for (double& height_um : z) height_um *= 3.0;
  EXPECT_NEAR(simulation.find(z).floor_um, 3.0 * once_um, 1e-9);
}

// Eight marks outside of the band take all places of the search; the wave in the band stays unseen. Then the
// floor must not promise that it would have been found.
TEST(WaveFloor, IsNotBelowAWaveThatFoundNoPlace) {
  Simulation simulation({10.0, {0.8, 5.0}, kParabola, 0.0});
  std::vector<double> z(5000, 0.0);
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = static_cast<double>(i) * kSpacing;
    for (int mark = 0; mark < 8; ++mark) z[i] += 2.0 * profiles::sine(x, 10.0 / (14.0 + 3.0 * mark), mark);
    z[i] += 0.5 * profiles::sine(x, 2.0, 0.3);
  }
  const WaveFinding found = simulation.find(z);
  EXPECT_EQ(found.component_count, WaveSet::kMaxWaves);
  EXPECT_FALSE(found.found);
  EXPECT_GE(found.floor_um, 1.0);
}

TEST(WaveFloor, OfASmoothFaceIsFarBelowAnyPickup) {
  Simulation simulation({10.0, {0.5, 5.0}, kParabola, 0.0});
  const double floor_um = simulation.find(std::vector<double>(5000, 1.0)).floor_um;
  EXPECT_GT(floor_um, 0.0);
  EXPECT_LT(floor_um, 1e-3);
}

// The closed form against the chance that it inverts.
TEST(DetectionFloor, TheLeastSignificantOrdinateHasTheFalseAlarmAsItsChance) {
  for (const std::size_t ordinates : {2U, 5U, 11U, 12U, 40U}) {
    for (const std::size_t in_band : {0U, 1U, 9U}) {
      const WaveNoise noise{.level = 0.37, .ordinates = ordinates, .in_band = in_band};
      const double least = least_significant_ordinate(noise);
      EXPECT_NEAR(chance_from_noise(least, noise), kFalseAlarm, 1e-12);
      EXPECT_LT(chance_from_noise(1.01 * least, noise), kFalseAlarm);
    }
  }
  EXPECT_EQ(least_significant_ordinate({.level = 1.0, .ordinates = 1, .in_band = 1}),
            std::numeric_limits<double>::infinity());
  EXPECT_EQ(chance_from_noise(5.0, {.level = 1.0, .ordinates = 1, .in_band = 1}), 1.0);
}

}  // namespace
}  // namespace crestgate::analysis
