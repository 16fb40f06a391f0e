// SPDX-License-Identifier: Apache-2.0
// Craters, proud particles, belt waves, over-finishing and torn crests against their closed forms.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

#include "simulator/surface/face.h"
#include "simulator/surface/finishing.h"
#include "simulator/surface/particles.h"
#include "simulator/surface/peening.h"
#include "simulator/surface/sites.h"
#include "simulator/surface/tearing.h"

namespace crestgate::simulator {
namespace {

constexpr Varied exactly(double value) { return {.mean = value, .deviation = 0.0}; }

double highest(const std::vector<double>& z) { return *std::max_element(z.begin(), z.end()); }
double lowest(const std::vector<double>& z) { return *std::min_element(z.begin(), z.end()); }

// How often a profile comes up through a height.
std::size_t rises_through(const std::vector<double>& z, double c) {
  std::size_t rises = 0;
  for (std::size_t i = 1; i < z.size(); ++i) rises += z[i - 1] < c && z[i] >= c ? 1U : 0U;
  return rises;
}

// Mean and variance of the number are rate times length; gaps are exponential: deviation equals mean.
TEST(RandomSites, AreAPoissonProcess) {
  RandomStream random(4);
  constexpr int kFaces = 2000;
  double sum = 0.0, squares = 0.0;
  for (int face = 0; face < kFaces; ++face) {
    const std::vector<double> sites = random_sites_um({.length_um = 4000.0, .count_per_mm = 5.0}, random);
    EXPECT_TRUE(std::is_sorted(sites.begin(), sites.end()));
    sum += static_cast<double>(sites.size());
    squares += static_cast<double>(sites.size() * sites.size());
  }
  const double mean = sum / kFaces;
  EXPECT_NEAR(mean, 20.0, 5.0 * std::sqrt(20.0 / kFaces));
  EXPECT_NEAR(squares / kFaces - mean * mean, 20.0, 5.0 * 20.0 * std::sqrt(2.0 / kFaces) * 1.05);
  EXPECT_TRUE(random_sites_um({.length_um = 4000.0, .count_per_mm = 0.0}, random).empty());
}

constexpr CraterShape kCrater{.depth_um = 2.0, .radius_um = 40.0, .rim_share = 0.6, .rim_width_um = 20.0};

// Volumes by summation over thin rings, 2 pi r z dr. The pit's is pi R^2 d / 2 (paraboloid).
TEST(Crater, ItsRimHoldsTheStatedShareOfTheDisplacedVolume) {
  for (const double share : {0.0, 0.3, 0.6, 1.0}) {
    CraterShape shape = kCrater;
    shape.rim_share = share;
    double pit = 0.0, rim = 0.0;
    constexpr double kStepUm = 0.001;
    for (double r = 0.5 * kStepUm; r < 70.0; r += kStepUm) {
      const double z = crater_height_um(r, shape);
      (z < 0.0 ? pit : rim) += 2.0 * std::numbers::pi * r * z * kStepUm;
    }
    EXPECT_NEAR(-pit, 0.5 * std::numbers::pi * 40.0 * 40.0 * 2.0, 1.0);
    EXPECT_NEAR(rim / -pit, share, 1e-5);
  }
}

TEST(Crater, HasItsDepthInTheMiddleAndTheRimsTopAThirdOfItsWidthOutside) {
  EXPECT_DOUBLE_EQ(crater_height_um(0.0, kCrater), -2.0);
  EXPECT_DOUBLE_EQ(crater_height_um(40.0, kCrater), 0.0);
  EXPECT_NEAR(crater_height_um(40.0 + 20.0 / 3.0, kCrater), rim_height_um(kCrater), 1e-12);
  EXPECT_LT(crater_height_um(46.0, kCrater), rim_height_um(kCrater));
  EXPECT_LT(crater_height_um(47.5, kCrater), rim_height_um(kCrater));
  EXPECT_EQ(crater_height_um(60.0, kCrater), 0.0);
}

// A trace at a random distance b from the middle has the mean area  integral z dx db / width: the volume. So
// over many craters the areas above and below are in the proportion of the volumes, and the area below is n V
// / (2 (R + w)) for n craters. The areas of single craters scatter by less than their mean.
TEST(Peening, RaisesTheStatedShareOfWhatItPressesDown) {
  std::vector<double> z(4'000'001, 0.0);  // a metre
  RandomStream random(5);
  peen(z, 0.25, {.crater = kCrater, .count_per_mm = 0.8, .scatter = 0.0}, random);  // hardly any overlap
  double up = 0.0, down = 0.0;
  for (const double value : z) (value > 0.0 ? up : down) += 0.25 * value;
  const double pit_volume = 0.5 * std::numbers::pi * 40.0 * 40.0 * 2.0;
  const double expected = 800.0 * pit_volume / 120.0;
  EXPECT_NEAR(-down, expected, 5.0 * expected * std::sqrt(2.0 / 800.0));
  EXPECT_NEAR(up / -down, 0.6, 0.05);
  EXPECT_LT(lowest(z), -1.9);  // of 800 some are crossed close to the middle
  EXPECT_GE(highest(z), 0.9 * rim_height_um(kCrater));
}

// Many overlapping craters: displacement adds up, so that the mean height is that of the compressed rest.
TEST(Peening, WithAllVolumePiledUpChangesNoMeanHeight) {
  std::vector<double> z(4'000'001, 0.0);
  RandomStream random(6);
  CraterShape crater = kCrater;
  crater.rim_share = 1.0;
  peen(z, 0.25, {.crater = crater, .count_per_mm = 20.0, .scatter = 0.15}, random);
  const double mean = std::accumulate(z.begin(), z.end(), 0.0) / static_cast<double>(z.size());
  double rq = 0.0;
  for (const double value : z) rq += value * value / static_cast<double>(z.size());
  rq = std::sqrt(rq);
  // The height decorrelates over a crater's 120 um: some 8000 independent places.
  EXPECT_NEAR(mean, 0.0, 5.0 * rq / std::sqrt(8000.0));
  EXPECT_GT(rq, 0.5);
}

// Poisson: n = 2000 on average, deviation its root. Two overlap so that one is missed with a chance of about
// rate x width = 2 %.
TEST(Particles, AreAsManyAndAsHighAsStated) {
  std::vector<double> z(4'000'001, -0.3);
  RandomStream random(7);
  const ParticleOptions carbides{
      .height_um = 0.8, .width_um = 10.0, .flat_share = 0.6, .count_per_mm = 2.0, .scatter = 0.0};
  leave_proud(z, -0.3, 0.25, carbides, random);
  EXPECT_NEAR(static_cast<double>(rises_through(z, 0.1)), 2000.0 * 0.98, 5.0 * std::sqrt(2000.0));
  EXPECT_NEAR(highest(z), 0.5, 1e-12);
  EXPECT_EQ(lowest(z), -0.3);
  // Of the width 60 % are flat on top: 6 um of each, 12 um of a millimetre.
  const auto flat =
      static_cast<double>(std::count_if(z.begin(), z.end(), [](double value) { return value > 0.5 - 1e-9; }));
  EXPECT_NEAR(flat / static_cast<double>(z.size()), 0.012, 5.0 * 0.012 / std::sqrt(2000.0));
}

TEST(Particles, ShapeIsFlatOnTopWithStraightFlanks) {
  const ParticleOptions carbide{
      .height_um = 1.0, .width_um = 10.0, .flat_share = 0.6, .count_per_mm = 0.0, .scatter = 0.0};
  EXPECT_DOUBLE_EQ(particle_height_um(-3.0, carbide), 1.0);
  EXPECT_DOUBLE_EQ(particle_height_um(4.0, carbide), 0.5);
  EXPECT_DOUBLE_EQ(particle_height_um(5.0, carbide), 0.0);
  EXPECT_DOUBLE_EQ(particle_height_um(6.0, carbide), 0.0);
  ParticleOptions grit = carbide;
  grit.flat_share = 0.0;
  EXPECT_DOUBLE_EQ(particle_height_um(2.5, grit), 0.5);
}

constexpr FaceOptions kFace{.width_mm = 20.0, .grid_um = 0.25, .seed = 9};

SurfaceRecipe ground() {
  return {Ridges{.rq_um = exactly(0.6), .correlation_um = exactly(10.0), .skew = exactly(1.0)}};
}

Finish finish_to(double percent, double deeper_um = 0.0) {
  return {.plateau_percent = exactly(percent),
          .texture_um = exactly(0.0),
          .texture_length_um = exactly(4.0),
          .follow = exactly(1.0),
          .deeper_um = exactly(deeper_um)};
}

// On a finished face they are proud of the plateau, wherever they sit.
TEST(Particles, StandProudOfThePlateauEvenInAValley) {
  SurfaceRecipe recipe = ground();
  recipe.emplace_back(finish_to(60.0));
  const double plateau = highest(make_face(recipe, kFace).heights_um);
  recipe.emplace_back(Particles{.height_um = exactly(0.7),
                                .width_um = exactly(12.0),
                                .count_per_mm = exactly(4.0),
                                .flat_percent = exactly(50.0),
                                .scatter_percent = exactly(0.0)});
  const std::vector<double> z = make_face(recipe, kFace).heights_um;
  EXPECT_NEAR(highest(z), plateau + 0.7, 1e-9);
  EXPECT_NEAR(static_cast<double>(rises_through(z, plateau + 0.35)), 80.0, 5.0 * std::sqrt(80.0));
}

// What a belt leaves minus what the same finishing without waves leaves is the wave alone: a cosine of that
// many periods and that height, whatever the texture.
TEST(Belt, AddsWavesOfItsCountAndHeightToAFinishedFace) {
  SurfaceRecipe finished = ground();
  finished.emplace_back(finish_to(70.0));
  SurfaceRecipe belted = ground();
  belted.emplace_back(
      Belt{.finish = finish_to(70.0),
           .waves = {.count = exactly(8.0), .height_um = exactly(1.6), .phase_deg = exactly(0.0)}});
  const std::vector<double> without = make_face(finished, kFace).heights_um;
  const std::vector<double> with = make_face(belted, kFace).heights_um;
  ASSERT_EQ(with.size(), without.size());
  for (std::size_t i = 0; i < with.size(); ++i) {
    const double x_mm = -10.0 + 0.00025 * static_cast<double>(i);
    ASSERT_NEAR(with[i] - without[i], 0.8 * std::cos(2.0 * std::numbers::pi * 8.0 * x_mm / 20.0), 1e-9);
  }
}

TEST(OverFinishing, DeeperThanTheValleysLeavesOnlyTheMarksOfTheTool) {
  SurfaceRecipe recipe = ground();
  const std::vector<double> before = make_face(recipe, kFace).heights_um;
  recipe.emplace_back(finish_to(100.0, 0.5));  // a tool without marks
  const std::vector<double> after = make_face(recipe, kFace).heights_um;
  EXPECT_NEAR(highest(after) - lowest(after), 0.0, 1e-12);
  EXPECT_NEAR(highest(after), lowest(before) - 0.5, 1e-9);
}

TEST(OverFinishing, DeeperThanTheShareTakesTheValleysThatAreShallower) {
  SurfaceRecipe recipe = ground();
  recipe.emplace_back(finish_to(50.0));
  const std::vector<double> right = make_face(recipe, kFace).heights_um;
  recipe.back() = finish_to(50.0, 0.4);
  const std::vector<double> deep = make_face(recipe, kFace).heights_um;
  EXPECT_NEAR(highest(deep), highest(right) - 0.4, 1e-9);
  const double tool = highest(right) - 0.4;
  for (std::size_t i = 0; i < deep.size(); ++i) ASSERT_NEAR(deep[i], std::min(right[i], tool), 1e-9);
}

constexpr TearOptions kTears{
    .count_per_mm = 1.0, .width_um = 30.0, .depth_um = 2.0, .burr_um = 0.9, .burr_width_um = 10.0};

// On a flat face: pits between half and full depth, burrs of full height, one of each a site. A burr is
// missed when a later pit takes it, with a chance of about rate x 35 um.
TEST(Tearing, LeavesAPitAndABurrAtEachSite) {
  std::vector<double> z(4'000'001, 0.0);
  RandomStream random(11);
  tear(z, 0.25, kTears, random);
  EXPECT_NEAR(static_cast<double>(rises_through(z, 0.45)), 1000.0 * 0.96, 5.0 * std::sqrt(1000.0));
  // A burr of 0.9 um; where a tear meets the burr of another one it starts from there.
  EXPECT_GE(highest(z), 0.9);
  EXPECT_LT(highest(z), 3.0 * 0.9);
  EXPECT_LT(lowest(z), -1.8);
  EXPECT_GE(lowest(z), -2.0);
  // Deeper than half the least depth, d/4: |t| < (1 - 1/2)^(1/4) = 0.841 at the shallowest, 0.931 at the
  // deepest.
  const auto deep =
      static_cast<double>(std::count_if(z.begin(), z.end(), [](double value) { return value < -0.5; }));
  const double share = deep / static_cast<double>(z.size());
  EXPECT_GT(share, 0.030 * 0.841 * 0.9);
  EXPECT_LT(share, 0.030 * 0.931 * 1.1);
}

TEST(Tearing, PitsAreRagged) {
  std::vector<double> z(4'000'001, 0.0);
  RandomStream random(12);
  tear(z, 0.25, kTears, random);
  // A smooth pit has one lowest place; one with a knot every 3 um has several.
  std::size_t pits = 0, dips = 0;
  for (std::size_t i = 1; i + 1 < z.size(); ++i) {
    pits += z[i - 1] >= -0.5 && z[i] < -0.5 ? 1U : 0U;
    dips += z[i] < -0.5 && z[i] < z[i - 1] && z[i] < z[i + 1] ? 1U : 0U;
  }
  EXPECT_GT(pits, 800U);
  EXPECT_GT(dips, 2 * pits);
}

TEST(Tearing, TakesCrestsAndNotTheMiddleOfTheWay) {
  SurfaceRecipe recipe = ground();
  const std::vector<double> before = make_face(recipe, kFace).heights_um;
  recipe.emplace_back(Torn{.count_per_mm = exactly(1.0),
                           .width_um = exactly(30.0),
                           .depth_um = exactly(4.0),
                           .burr_um = exactly(0.0),
                           .burr_width_um = exactly(0.0)});
  const std::vector<double> after = make_face(recipe, kFace).heights_um;
  double lost_places = 0.0, mean_of_lost = 0.0;
  const double mean = std::accumulate(before.begin(), before.end(), 0.0) / static_cast<double>(before.size());
  for (std::size_t i = 0; i < before.size(); ++i) {
    if (before[i] - after[i] < 2.0) continue;
    lost_places += 1.0;
    mean_of_lost += before[i];
  }
  ASSERT_GT(lost_places, 0.0);
  EXPECT_GT(mean_of_lost / lost_places, mean + 0.1) << "what is torn away stood above the mean line";
}

}  // namespace
}  // namespace crestgate::simulator
