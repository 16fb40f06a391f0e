// SPDX-License-Identifier: Apache-2.0
// The statistics of synthetic surfaces against the parameters they were asked for.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

#include "simulator/surface/closed_forms.h"
#include "simulator/surface/face.h"
#include "simulator/surface/finishing.h"
#include "simulator/surface/random.h"
#include "simulator/surface/ridges.h"

namespace crestgate::simulator {
namespace {

struct Moments {
  double mean = 0.0, ra = 0.0, rq = 0.0, rsk = 0.0, rku = 0.0;
};

Moments moments(const std::vector<double>& z) {
  const auto n = static_cast<double>(z.size());
  Moments m;
  m.mean = std::accumulate(z.begin(), z.end(), 0.0) / n;
  double squares = 0.0, cubes = 0.0, fourths = 0.0;
  for (const double value : z) {
    const double d = value - m.mean;
    m.ra += std::abs(d) / n;
    squares += d * d / n;
    cubes += d * d * d / n;
    fourths += d * d * d * d / n;
  }
  m.rq = std::sqrt(squares);
  m.rsk = cubes / std::pow(squares, 1.5);
  m.rku = fourths / (squares * squares);
  return m;
}

double correlation_at(const std::vector<double>& z, std::size_t lag) {
  double product = 0.0, power = 0.0;
  for (std::size_t i = 0; i + lag < z.size(); ++i) product += z[i] * z[i + lag];
  for (const double value : z) power += value * value;
  return product / static_cast<double>(z.size() - lag) / (power / static_cast<double>(z.size()));
}

double share_above(const std::vector<double>& z, double c) {
  return static_cast<double>(std::count_if(z.begin(), z.end(), [c](double v) { return v > c; })) /
         static_cast<double>(z.size());
}

double normal_share_above(double s) { return 0.5 * std::erfc(s / std::numbers::sqrt2); }

// 400000 points, T = 20 grid steps: about 16000 independent ridges, so Rq is known to 0.6 %.
std::vector<double> long_texture(double skew, std::uint64_t seed = 1) {
  RandomStream random(seed);
  return ridge_texture(400'000, 0.5, {.rq_um = 0.5, .correlation_um = 10.0, .skew = skew}, random);
}

TEST(RidgeTexture, GaussianHeightsHaveTheMomentsOfTheNormalDistribution) {
  const Moments m = moments(long_texture(0.0));
  EXPECT_NEAR(m.mean, 0.0, 0.02);
  EXPECT_NEAR(m.rq, 0.5, 0.01);
  EXPECT_NEAR(m.ra / m.rq, std::sqrt(2.0 / std::numbers::pi), 0.005);
  EXPECT_NEAR(m.rsk, 0.0, 0.08);
  EXPECT_NEAR(m.rku, 3.0, 0.15);
}

TEST(RidgeTexture, GaussianHeightsHaveTheMaterialRatiosOfTheNormalDistribution) {
  const std::vector<double> z = long_texture(0.0);
  for (const double s : {-2.0, -1.0, 0.0, 1.0, 2.0}) {
    EXPECT_NEAR(share_above(z, 0.5 * s), normal_share_above(s), 0.01) << s << " sigma";
  }
}

TEST(RidgeTexture, CorrelationFallsAsAGaussianOfTheLag) {
  const std::vector<double> z = long_texture(0.0);
  for (const std::size_t lag : {5U, 10U, 20U, 30U, 60U}) {
    const double t = 0.5 * static_cast<double>(lag) / 10.0;
    EXPECT_NEAR(correlation_at(z, lag), std::exp(-t * t), 0.03) << "lag " << t << " T";
  }
}

// Rms slope of a Gaussian process with correlation exp(-(t/T)^2): sqrt(2) Rq / T.
TEST(RidgeTexture, SlopeFollowsFromHeightAndCorrelationLength) {
  const std::vector<double> z = long_texture(0.0);
  double squares = 0.0;
  for (std::size_t i = 1; i + 1 < z.size(); ++i) squares += std::pow(z[i + 1] - z[i - 1], 2);
  const double slope = std::sqrt(squares / static_cast<double>(z.size() - 2));
  EXPECT_NEAR(slope, std::numbers::sqrt2 * 0.5 / 10.0, 0.001);
}

TEST(RidgeTexture, SkewGivesTheLogNormalDistributionAskedFor) {
  for (const double skew : {1.0, 2.0, -1.0}) {
    const std::vector<double> z = long_texture(skew, 2);
    const Moments m = moments(z);
    EXPECT_NEAR(m.rq, 0.5, 0.015) << skew;
    EXPECT_NEAR(m.rsk, skew, 0.2 * std::abs(skew)) << skew;
    // Share above c of z = rq (exp(s g - s^2/2) - 1) / sqrt(exp(s^2) - 1), mirrored for skew < 0.
    const double s = log_normal_shape(skew);
    const double spread = std::sqrt(std::exp(s * s) - 1.0);
    for (const double c : {-0.3, 0.0, 0.3, 0.8}) {
      const double border = (std::log(1.0 + std::abs(skew) / skew * c / 0.5 * spread) + 0.5 * s * s) / s;
      const double wanted = skew > 0.0 ? normal_share_above(border) : normal_share_above(-border);
      EXPECT_NEAR(share_above(z, c), wanted, 0.012) << skew << " at " << c;
    }
  }
}

// The same, with the closed form of the skewness as the source.
TEST(RidgeTexture, ShapeSolvesTheSkewnessOfTheLogNormalDistribution) {
  for (const double skew : {0.01, 0.5, 1.0, 4.0, -2.0}) {
    const double e = std::exp(std::pow(log_normal_shape(skew), 2));
    EXPECT_NEAR((e + 2.0) * std::sqrt(e - 1.0), std::abs(skew), 1e-9);
  }
  EXPECT_EQ(log_normal_shape(0.0), 0.0);
}

TEST(RidgeTexture, SharpCrestsCurveMoreThanTheirValleys) {
  const std::vector<double> z = long_texture(1.5);
  double crest = 0.0, valley = 0.0;
  for (std::size_t i = 1; i + 1 < z.size(); ++i) {
    const double bend = z[i - 1] - 2.0 * z[i] + z[i + 1];
    if (z[i] > z[i - 1] && z[i] > z[i + 1]) crest = std::max(crest, -bend);
    if (z[i] < z[i - 1] && z[i] < z[i + 1]) valley = std::max(valley, bend);
  }
  EXPECT_GT(crest, 3.0 * valley);
}

FaceLayers layers_of(const std::vector<double>& texture_um, std::vector<double> waves_um = {}) {
  waves_um.resize(texture_um.size());
  return {.form_um = std::vector<double>(texture_um.size()),
          .waves_um = std::move(waves_um),
          .texture_um = texture_um};
}

// z = min(g, h), g normal with sigma 1: flat share, mean, Ra, Rq, Rsk and Rku by numerical integration of the
// closed form of the truncated normal distribution.
TEST(Finishing, AFlatToolLeavesTheTruncatedNormalDistribution) {
  struct Row {
    double h, flat, mean, ra, rq, rsk, rku;
  };
  const std::vector<Row> rows = {{1.50, 0.066807, -0.029307, 0.768920, 0.942536, -0.294801, 2.641032},
                                 {0.50, 0.308538, -0.197797, 0.615645, 0.743936, -1.013871, 3.460208},
                                 {0.25, 0.401294, -0.286345, 0.544029, 0.667178, -1.297652, 4.211893},
                                 {0.00, 0.500000, -0.398942, 0.461607, 0.583819, -1.640561, 5.407639}};
  RandomStream random(3);
  const std::vector<double> ground =
      ridge_texture(1'000'000, 0.5, {.rq_um = 1.0, .correlation_um = 2.0, .skew = 0.0}, random);
  for (const Row& row : rows) {
    FaceLayers face = layers_of(ground);
    finish(face, 0.5, {.plateau_share = row.flat, .texture_um = 0.0, .texture_length_um = 4.0, .follow = 0.0},
           random);
    const Moments m = moments(face.texture_um);
    EXPECT_NEAR(*std::max_element(face.texture_um.begin(), face.texture_um.end()), row.h, 0.01) << row.h;
    EXPECT_NEAR(m.mean, row.mean, 0.01) << row.h;
    EXPECT_NEAR(m.ra, row.ra, 0.005) << row.h;
    EXPECT_NEAR(m.rq, row.rq, 0.005) << row.h;
    EXPECT_NEAR(m.rsk, row.rsk, 0.03) << row.h;
    EXPECT_NEAR(m.rku, row.rku, 0.12) << row.h;
  }
}

TEST(Finishing, SparesTheValleysAndAddsNothing) {
  const std::vector<double> ground = long_texture(1.0);
  FaceLayers face = layers_of(ground);
  RandomStream random(8);
  finish(face, 0.5, {.plateau_share = 0.6, .texture_um = 0.03, .texture_length_um = 4.0, .follow = 0.0},
         random);
  std::size_t untouched = 0;
  for (std::size_t i = 0; i < ground.size(); ++i) {
    EXPECT_LE(face.texture_um[i], ground[i] + 1e-12);
    untouched += face.texture_um[i] == ground[i] ? 1U : 0U;
  }
  EXPECT_NEAR(static_cast<double>(untouched), 0.4 * static_cast<double>(ground.size()), 2.0);
}

TEST(Finishing, ThePlateauCarriesTheMarksOfTheTool) {
  FaceLayers face = layers_of(long_texture(0.0));
  RandomStream random(8);
  finish(face, 0.5, {.plateau_share = 1.0, .texture_um = 0.03, .texture_length_um = 4.0, .follow = 0.0},
         random);
  EXPECT_NEAR(moments(face.texture_um).rq, 0.03, 0.001);  // nothing of the ridges is left
}

TEST(Finishing, AStraightToolTakesTheCrestsOfWavesAndAFollowingOneKeepsThem) {
  std::vector<double> waves_um(10'000);
  for (std::size_t i = 0; i < waves_um.size(); ++i) {
    waves_um[i] = 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / 1000.0);
  }
  const std::vector<double> smooth(waves_um.size(), 0.0);
  const auto finished = [&](double follow) {
    FaceLayers face = layers_of(smooth, waves_um);
    RandomStream random(1);
    finish(face, 0.5, {.plateau_share = 0.5, .texture_um = 0.0, .texture_length_um = 4.0, .follow = follow},
           random);
    std::vector<double> total(face.texture_um);
    for (std::size_t i = 0; i < total.size(); ++i) total[i] += face.waves_um[i];
    const auto [low, high] = std::minmax_element(total.begin(), total.end());
    return *high - *low;
  };
  EXPECT_NEAR(finished(0.0), 0.5, 0.01);  // cut at half its height: a cosine is above 0 half of the time
  // follow f: the tool stands at f w, the wave above it is (1 - f) w, cut at w = 0: crests keep f of their
  // half.
  EXPECT_NEAR(finished(0.5), 0.5 + 0.25, 0.01);
  EXPECT_NEAR(finished(1.0), 1.0, 1e-9);
}

FaceOptions face_options(std::uint64_t seed = 5) { return {.width_mm = 8.0, .grid_um = 0.25, .seed = seed}; }

TEST(MakeFace, IsAFunctionOfItsSeed) {
  const SurfaceRecipe recipe = {
      Ridges{.rq_um = {0.5, 0.05}, .correlation_um = {10.0, 1.0}, .skew = {1.0, 0.1}},
      Waves{.count = {9.0, 0.5}, .height_um = {0.5, 0.1}, .phase_deg = {}},
      Chatter{.wavelength_mm = {0.12, 0.0}, .height_um = {0.1, 0.0}}};
  const Face first = make_face(recipe, face_options());
  EXPECT_EQ(first.heights_um, make_face(recipe, face_options()).heights_um);
  EXPECT_NE(first.heights_um, make_face(recipe, face_options(6)).heights_um);
  EXPECT_EQ(first.heights_um.size(), 32'001U);
  EXPECT_DOUBLE_EQ(first.first_mm, -4.0);
  EXPECT_NEAR(first.last_mm(), 4.0, 1e-12);
}

TEST(MakeFace, ALaterStepFindsTheSameIncomingSurface) {
  SurfaceRecipe recipe = {Ridges{.rq_um = {0.5, 0.05}, .correlation_um = {10.0, 0.0}, .skew = {0.0, 0.0}}};
  const Face ground = make_face(recipe, face_options());
  recipe.push_back(Finish{.plateau_percent = {60.0, 0.0},
                          .texture_um = {0.0, 0.0},
                          .texture_length_um = {4.0, 0.0},
                          .follow = {0.0, 0.0}});
  const Face finished = make_face(recipe, face_options());
  std::size_t same = 0;
  for (std::size_t i = 0; i < ground.heights_um.size(); ++i)
    same += ground.heights_um[i] == finished.heights_um[i] ? 1U : 0U;
  EXPECT_NEAR(static_cast<double>(same), 0.4 * static_cast<double>(ground.heights_um.size()), 2.0);
}

TEST(MakeFace, WavesHaveTheirCountAndHeight) {
  const Face face = make_face(
      {Waves{.count = {7.0, 0.0}, .height_um = {0.6, 0.0}, .phase_deg = Varied{90.0, 0.0}}}, face_options());
  const auto [low, high] = std::minmax_element(face.heights_um.begin(), face.heights_um.end());
  EXPECT_NEAR(*high - *low, 0.6, 1e-6);
  std::size_t rises = 0;
  for (std::size_t i = 1; i < face.heights_um.size(); ++i) {
    rises += face.heights_um[i - 1] < 0.0 && face.heights_um[i] >= 0.0 ? 1U : 0U;
  }
  EXPECT_NEAR(static_cast<double>(rises), 7.0, 1.0);
}

TEST(MakeFace, AVariedParameterSpreadsOverTheParts) {
  constexpr int kParts = 400;
  std::vector<double> heights;
  for (int part = 0; part < kParts; ++part) {
    const FaceOptions options{
        .width_mm = 0.1, .grid_um = 10.0, .seed = derive_seed(1, static_cast<std::uint64_t>(part))};
    heights.push_back(make_face({Flat{.height_um = {2.0, 0.3}}}, options).heights_um.front());
  }
  const Moments m = moments(heights);
  EXPECT_NEAR(m.mean, 2.0, 5.0 * 0.3 / std::sqrt(kParts));
  EXPECT_NEAR(m.rq, 0.3, 5.0 * 0.3 / std::sqrt(2.0 * kParts));
  EXPECT_LE(*std::max_element(heights.begin(), heights.end()), 2.9);  // three deviations
}

// Amplitude 1: Ra and Rq of the textbook waveforms.
TEST(ClosedForms, WaveformsHaveTheirTextbookRaAndRq) {
  struct Row {
    WaveShape shape;
    double ra, rq;
  };
  const double root3 = std::sqrt(3.0);
  for (const Row& row : {Row{WaveShape::kSine, 2.0 / std::numbers::pi, 1.0 / std::numbers::sqrt2},
                         Row{WaveShape::kTriangle, 0.5, 1.0 / root3}, Row{WaveShape::kSquare, 1.0, 1.0},
                         Row{WaveShape::kSawtooth, 0.5, 1.0 / root3}}) {
    std::vector<double> z;
    for (int i = 0; i < 10'000; ++i) z.push_back(wave_height(row.shape, (i + 0.5) / 10'000.0));
    const Moments m = moments(z);
    EXPECT_NEAR(m.mean, 0.0, 1e-12);
    EXPECT_NEAR(m.ra, row.ra, 1e-7);
    EXPECT_NEAR(m.rq, row.rq, 1e-7);
  }
}

TEST(ClosedForms, AnArcOf25MmSagsBy157UmOverAChordOf5Point6Mm) {
  EXPECT_NEAR(arc_height_um(2.8, 25.0), -157.294833, 1e-6);  // r - sqrt(r^2 - x^2)
  EXPECT_NEAR(arc_height_um(2.8, -25.0), 157.294833, 1e-6);
  EXPECT_DOUBLE_EQ(arc_height_um(0.0, 25.0), 0.0);
}

TEST(ClosedForms, AGrooveHasItsDepthAndItsFlanks) {
  const GrooveShape groove{.depth_um = 3.0, .flank_deg = 45.0};
  EXPECT_DOUBLE_EQ(groove_height_um(0.0, groove), -3.0);
  EXPECT_NEAR(groove_height_um(0.001, groove), -2.0, 1e-12);
  EXPECT_DOUBLE_EQ(groove_height_um(0.01, groove), 0.0);
}

// C++20 standard, [rand.predef]: the 10000th output of mt19937_64 with its default seed 5489.
TEST(RandomStream, IsTheStandardsMersenneTwister) {
  RandomStream random(5489);
  std::uint64_t last = 0;
  for (int i = 0; i < 10'000; ++i) last = random.bits();
  EXPECT_EQ(last, 9981545732273789042U);
}

TEST(RandomStream, SeedsOfDifferentNamesAndNumbersDiffer) {
  EXPECT_NE(derive_seed(1, "a"), derive_seed(1, "b"));
  EXPECT_NE(derive_seed(1, "a"), derive_seed(2, "a"));
  EXPECT_NE(derive_seed(1, std::uint64_t{0}), derive_seed(1, std::uint64_t{1}));
  EXPECT_NE(derive_seed(0, std::uint64_t{1}), derive_seed(1, std::uint64_t{0}));
}

}  // namespace
}  // namespace crestgate::simulator
