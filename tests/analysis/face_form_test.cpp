// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/face_form.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {
namespace {

using profiles::sine;

constexpr double kSpacing = 0.002;
constexpr FormRemoval kParabola{.kind = FormKind::kPolynomial, .degree = 2};

// A face in closed form: crown and taper as the contract defines them, over the whole face.
struct Shape {
  double length_mm = 10.0;
  double crown_um = 0.0;
  double taper_um = 0.0;
  double wave_um = 0.0;  // peak to valley
  double spacing_mm = 1.0;
  double phase = 0.0;
};

std::vector<double> face(const Shape& shape) {
  const auto count = static_cast<std::size_t>(std::round(shape.length_mm / kSpacing));
  // Samples stand in the middle of their share of the length.
  return profiles::sampled(count, kSpacing, [&](double x) {
    const double u = (x + 0.5 * kSpacing) / shape.length_mm - 0.5;
    return -4.0 * shape.crown_um * u * u + shape.taper_um * u +
           0.5 * shape.wave_um * sine(x, shape.spacing_mm, shape.phase);
  });
}

std::vector<double> sum(std::vector<double> a, const std::vector<double>& b) {
  for (std::size_t i = 0; i < a.size(); ++i) a[i] += b[i];
  return a;
}

FaceFinding measure(const std::vector<double>& z, const FaceFormSettings& settings,
                    std::span<const WaveComponent> waves = {}) {
  const auto form =
      FaceForm::prepare({.settings = settings, .spacing_mm = kSpacing, .sample_count = z.size()});
  EXPECT_TRUE(form.has_value()) << form.error().detail;
  FaceWorkspace workspace;
  return form->measure(z, waves, workspace);
}

WaveFinding find_waves(const std::vector<double>& z, const WaveBand& band) {
  const auto search = WaveSearch::prepare(
      {.band = band, .form = kParabola, .spacing_mm = kSpacing, .sample_count = z.size()});
  EXPECT_TRUE(search.has_value()) << search.error().detail;
  WaveWorkspace workspace;
  return *search->find(z, workspace);
}

TEST(FaceForm, GivesCrownAndTaperOfASmoothFaceExactly) {
  for (const double length_mm : {5.0, 10.0, 20.0}) {
    for (const double crown_um : {-3.0, 0.0, 0.5, 12.0}) {
      for (const double edge_mm : {0.0, 0.5}) {
        const FaceFinding found = measure(
            face({.length_mm = length_mm, .crown_um = crown_um, .taper_um = -7.0}), {.edge_mm = edge_mm});
        EXPECT_NEAR(found.length_mm, length_mm, 1e-9);
        EXPECT_NEAR(found.crown_um, crown_um, 1e-9);
        EXPECT_NEAR(found.taper_um, -7.0, 1e-9);
        EXPECT_EQ(found.has_edges, edge_mm > 0.0);
        EXPECT_NEAR(found.edge_drop_start_um, 0.0, 1e-9);
        EXPECT_NEAR(found.edge_drop_end_um, 0.0, 1e-9);
        EXPECT_NEAR(found.high_spot_um, 0.0, 1e-9);
        EXPECT_EQ(found.crown_skew_um, 0.0);
      }
    }
  }
}

TEST(FaceForm, MeasuresOnlyBetweenTheStatedPlaces) {
  auto z = face({.length_mm = 14.0});
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = (static_cast<double>(i) + 0.5) * kSpacing;
    const double u = (x - 2.0) / 10.0 - 0.5;
    z[i] = x < 2.0 || x > 12.0 ? -50.0 : -4.0 * 3.0 * u * u + 2.0 * u;
  }
  const FaceFinding found = measure(z, {.start_mm = 2.0, .end_mm = 12.0});
  EXPECT_NEAR(found.length_mm, 10.0, 1e-9);
  EXPECT_NEAR(found.crown_um, 3.0, 1e-6);
  EXPECT_NEAR(found.taper_um, 2.0, 1e-6);
}

// The wave search is handed the whole face, crown and all; its waves are taken out beside the crown.
TEST(FaceForm, CrownAndSixWavesDoNotLeakIntoEachOther) {
  for (int phase = 0; phase < 16; ++phase) {
    const auto rough = profiles::rough(5000, 0.25, 10, 300U + static_cast<unsigned>(phase));
    const double turn = 0.4 * phase;
    const auto z =
        sum(face({.crown_um = 2.0, .wave_um = 1.5, .spacing_mm = 10.0 / 6.3, .phase = turn}), rough);
    const WaveFinding waves = find_waves(z, {.shortest_mm = 0.5, .longest_mm = 5.0});
    ASSERT_TRUE(waves.found) << phase;
    EXPECT_NEAR(waves.spacing_mm, 10.0 / 6.3, 0.02) << phase;
    EXPECT_NEAR(waves.height_um, 1.5, 0.15) << phase;  // 3.5 times its own uncertainty, 2 Rq sqrt(2 / 282)
    // Roughness has a crown of its own by chance; what is added to it is what was put on.
    const FaceFinding chance = measure(rough, {});
    const FaceFinding found = measure(z, {}, waves.components());
    EXPECT_NEAR(found.crown_um, 2.0 + chance.crown_um, 0.05) << phase;
    EXPECT_NEAR(found.taper_um, chance.taper_um, 0.05) << phase;
    // Waves without a crown make none, and a crown without waves makes no wave.
    const auto flat = sum(face({.wave_um = 1.5, .spacing_mm = 10.0 / 6.3, .phase = turn}), rough);
    EXPECT_NEAR(measure(flat, {}, find_waves(flat, {0.5, 5.0}).components()).crown_um, chance.crown_um, 0.05)
        << phase;
    const auto crowned = sum(face({.crown_um = 20.0, .taper_um = 8.0}), rough);
    EXPECT_FALSE(find_waves(crowned, {0.5, 5.0}).found) << phase;
  }
}

// Without noise the separation is exact, at any fraction of a wave; a plain parabola would be far off.
TEST(FaceForm, SeparatesASlightCrownFromOneAndAHalfWaves) {
  double worst_plain = 0.0;
  for (int phase = 0; phase < 16; ++phase) {
    const auto z = face({.crown_um = 0.8, .wave_um = 1.0, .spacing_mm = 10.0 / 1.7, .phase = 0.4 * phase});
    const WaveFinding waves = find_waves(z, {.shortest_mm = 0.8, .longest_mm = 7.0});
    ASSERT_TRUE(waves.found) << phase;
    EXPECT_NEAR(measure(z, {.edge_mm = 0.0}, waves.components()).crown_um, 0.8, 0.03) << phase;
    worst_plain = std::max(worst_plain, std::abs(measure(z, {.edge_mm = 0.0}).crown_um - 0.8));
  }
  EXPECT_GT(worst_plain, 0.1);
}

TEST(FaceForm, SeparatesASlightCrownFromOneWaveOnARoughFace) {
  for (int phase = 0; phase < 16; ++phase) {
    const auto z = sum(face({.crown_um = 1.5, .wave_um = 2.0, .spacing_mm = 6.0, .phase = 0.4 * phase}),
                       profiles::rough(5000, 0.15, 5, 340U + static_cast<unsigned>(phase)));
    const WaveFinding waves = find_waves(z, {.shortest_mm = 0.8, .longest_mm = 6.7});
    ASSERT_TRUE(waves.found) << phase;
    EXPECT_NEAR(waves.spacing_mm, 6.0, 0.4) << phase;
    EXPECT_NEAR(measure(z, {.edge_mm = 0.0}, waves.components()).crown_um, 1.5, 0.35) << phase;
  }
}

// An edge that falls evenly to a depth over its length has half of it as its median.
TEST(FaceForm, GivesTheEdgeDropOnEachSide) {
  auto z = face({.crown_um = 4.0, .taper_um = 3.0});
  const double edge_mm = 0.5;
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = (static_cast<double>(i) + 0.5) * kSpacing;
    if (x < edge_mm) z[i] -= 2.0 * (1.0 - x / edge_mm);
    if (x > 10.0 - edge_mm) z[i] -= 6.0 * (1.0 - (10.0 - x) / edge_mm);
  }
  const FaceFinding smooth = measure(z, {.edge_mm = edge_mm});
  EXPECT_NEAR(smooth.edge_drop_start_um, 1.0, 0.05);
  EXPECT_NEAR(smooth.edge_drop_end_um, 3.0, 0.15);
  EXPECT_NEAR(smooth.crown_um, 4.0, 0.02);  // the edges have no part in the crown
  const FaceFinding rough = measure(sum(z, profiles::rough(z.size(), 0.4, 10, 7)), {.edge_mm = edge_mm});
  EXPECT_NEAR(rough.edge_drop_start_um, 1.0, 0.3);
  EXPECT_NEAR(rough.edge_drop_end_um, 3.0, 0.35);
}

TEST(FaceForm, ScratchesAndDeepValleysDoNotMakeAnEdgeDrop) {
  auto z = face({.crown_um = 4.0});
  for (std::size_t i = 40; i < 100; ++i) z[i] -= 20.0;     // a scratch in the first edge
  for (std::size_t i = 4900; i < 4960; ++i) z[i] += 15.0;  // a burr on the last one
  EXPECT_NEAR(measure(z, {.edge_mm = 0.5}).edge_drop_start_um, 0.0, 0.02);
  EXPECT_NEAR(measure(z, {.edge_mm = 0.5}).edge_drop_end_um, 0.0, 0.02);
  // Valleys everywhere, a plateau between them: the mean lies far below the median, at the edge as inside.
  auto plateau = face({.crown_um = 4.0});
  for (std::size_t i = 0; i < plateau.size(); ++i) plateau[i] -= i % 80 < 20 ? 4.0 : 0.0;
  EXPECT_NEAR(measure(plateau, {.edge_mm = 0.5}).edge_drop_start_um, 0.0, 0.1);
  EXPECT_NEAR(measure(plateau, {.edge_mm = 0.5}).edge_drop_end_um, 0.0, 0.1);
}

// Source: a Gaussian bump exp(-(x/w)^2) smoothed by the Gaussian of cut-off L, whose weight is
// exp(-pi (x / (a L))^2), a = 0.4697: width^2 -> w^2 + (a L)^2 / pi, height falls by the ratio of the widths.
TEST(FaceForm, FindsTheHighestSpot) {
  const double smoothing_mm = 0.25;
  for (const double at_mm : {1.0, 3.217, 8.6}) {
    auto z = face({.crown_um = 2.0, .taper_um = 5.0});
    const double width_mm = 0.3;
    for (std::size_t i = 0; i < z.size(); ++i) {
      const double u = (static_cast<double>(i) * kSpacing - at_mm) / width_mm;
      z[i] += 1.2 * std::exp(-u * u);
    }
    const double spread = 0.4697186 * smoothing_mm;
    const double kept = width_mm / std::sqrt(width_mm * width_mm + spread * spread / profiles::kPi);
    const FaceFinding plain = measure(z, {.spot_smoothing_mm = smoothing_mm});
    // The bump lifts the fitted form: by its area times the kernel of the fit at its place, on the inner 9 mm
    // (1 + 3 t^2 + 5 P2(t)^2) / 9, P2 the Legendre polynomial.
    const double t = (at_mm - 5.0) / 4.5;
    const double second = 0.5 * (3.0 * t * t - 1.0);
    const double kernel = (1.0 + 3.0 * t * t + 5.0 * second * second) / 9.0;
    const double area_um_mm = 1.2 * width_mm * std::sqrt(profiles::kPi);
    EXPECT_NEAR(plain.high_spot_mm, at_mm, 0.01);
    EXPECT_NEAR(plain.high_spot_um, 1.2 * kept - area_um_mm * kernel, 0.015);
    const FaceFinding rough =
        measure(sum(z, profiles::rough(z.size(), 0.2, 5, 77)), {.spot_smoothing_mm = smoothing_mm});
    EXPECT_NEAR(rough.high_spot_mm, at_mm, 0.1);
    EXPECT_NEAR(rough.high_spot_um, plain.high_spot_um, 0.15);
  }
}

TEST(FaceForm, TheCrestOfAWaveMayBeTheHighestSpot) {
  const auto z = face({.crown_um = 2.0, .wave_um = 1.0, .spacing_mm = 2.0, .phase = 0.0});
  const FaceFinding found = measure(z, {.edge_mm = 0.0}, find_waves(z, {0.8, 5.0}).components());
  EXPECT_NEAR(found.high_spot_um, 0.5, 0.01);
  EXPECT_NEAR(std::fmod(found.high_spot_mm, 2.0), 0.5, 0.01);
}

TEST(FaceForm, AFaceReversedSwapsItsEndsAndTurnsItsTaper) {
  auto z = sum(face({.crown_um = 2.0, .taper_um = 4.0, .wave_um = 1.0, .spacing_mm = 2.3}),
               profiles::rough(5000, 0.2, 10, 11));
  for (std::size_t i = 0; i < 250; ++i) z[i] -= 3.0;
  const std::vector<double> reversed(z.rbegin(), z.rend());
  const FaceFinding a = measure(z, {}, find_waves(z, {0.8, 5.0}).components());
  const FaceFinding b = measure(reversed, {}, find_waves(reversed, {0.8, 5.0}).components());
  EXPECT_NEAR(a.crown_um, b.crown_um, 0.01);
  EXPECT_NEAR(a.taper_um, -b.taper_um, 0.02);
  EXPECT_NEAR(a.edge_drop_start_um, b.edge_drop_end_um, 0.02);
  EXPECT_NEAR(a.edge_drop_end_um, b.edge_drop_start_um, 0.02);
  EXPECT_NEAR(a.high_spot_um, b.high_spot_um, 0.01);
  EXPECT_NEAR(a.high_spot_mm, 10.0 - b.high_spot_mm, 0.01);
}

TEST(FaceForm, AFaceUpsideDownTurnsEverySign) {
  const auto z = sum(face({.crown_um = 2.0, .taper_um = 4.0}), profiles::rough(5000, 0.2, 10, 12));
  std::vector<double> down(z);
  for (double& height_um : down) height_um = -height_um;
  const FaceFinding a = measure(z, {});
  const FaceFinding b = measure(down, {});
  EXPECT_NEAR(a.crown_um, -b.crown_um, 1e-12);
  EXPECT_NEAR(a.taper_um, -b.taper_um, 1e-12);
  EXPECT_NEAR(a.edge_drop_start_um, -b.edge_drop_start_um, 1e-12);
  EXPECT_NEAR(a.edge_drop_end_um, -b.edge_drop_end_um, 1e-12);
}

TEST(FaceForm, CarriesWhatTheSkewMayHaveFaked) {
  const auto z = face({.length_mm = 20.0, .crown_um = 1.0});
  const FaceFinding found = measure(z, {.skew = SkewLimit{.radius_mm = 20.0, .most_degrees = 1.0}});
  EXPECT_NEAR(found.crown_skew_um, 0.76147, 1e-5);  // as in askew_test.cpp
  // A trace askew on a shaft without any crown: what is measured is just that.
  const double across = std::sin(profiles::kPi / 180.0);
  const auto askew = profiles::sampled(10000, kSpacing, [&](double x) {
    const double s = (x - 10.0) * across;
    return 1000.0 * (std::sqrt(400.0 - s * s) - 20.0);
  });
  EXPECT_NEAR(measure(askew, {}).crown_um, found.crown_skew_um, 1e-3);
}

TEST(FaceForm, RefusesWhatNoFaceCanMeet) {
  const auto refusal = [](const FaceFormSettings& settings) {
    const auto form = FaceForm::prepare({.settings = settings, .spacing_mm = kSpacing, .sample_count = 2500});
    EXPECT_FALSE(form.has_value());
    return form ? base::ErrorCode::kNotFinite : form.error().code;
  };
  EXPECT_EQ(refusal({.start_mm = -1.0}), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(refusal({.start_mm = 2.0, .end_mm = 1.0}), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(refusal({.edge_mm = -0.1}), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(refusal({.spot_smoothing_mm = 0.0}), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(refusal({.skew = SkewLimit{.radius_mm = 0.0, .most_degrees = 1.0}}),
            base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(refusal({.end_mm = 6.0}), base::ErrorCode::kTooShort);
  EXPECT_EQ(refusal({.start_mm = 5.5}), base::ErrorCode::kTooShort);
  EXPECT_EQ(refusal({.edge_mm = 1.5}), base::ErrorCode::kTooShort);
  EXPECT_EQ(refusal({.start_mm = 4.5}), base::ErrorCode::kTooShort);
  EXPECT_EQ(refusal({.edge_mm = 0.05}), base::ErrorCode::kOutOfRange);
  EXPECT_EQ(refusal({.spot_smoothing_mm = 0.004}), base::ErrorCode::kOutOfRange);
}

}  // namespace
}  // namespace crestgate::analysis
