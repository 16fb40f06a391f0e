// SPDX-License-Identifier: Apache-2.0
// Short faces as they come from the bench: 5 to 20 mm, a few waves, ground-like roughness; and what must not
// be taken for waves.
#include <algorithm>
#include <cmath>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {
namespace {

using profiles::sine;

constexpr double kSpacing = 0.002;
constexpr FormRemoval kParabola{.kind = FormKind::kPolynomial, .degree = 2};
constexpr double kRqOfRa = 1.2533;  // normal heights

std::size_t samples_of(double length_mm) {
  return static_cast<std::size_t>(std::round(length_mm / kSpacing));
}

WaveSearch prepare(double face_mm, const WaveBand& band) {
  auto search = WaveSearch::prepare(
      {.band = band, .form = kParabola, .spacing_mm = kSpacing, .sample_count = samples_of(face_mm)});
  EXPECT_TRUE(search.has_value()) << search.error().detail;
  return std::move(*search);
}

// Roughness with an exponential autocorrelation exp(-|t| / T): its spectrum fades slowly, as that of ground
// faces does. First-order autoregression, written out here.
std::vector<double> slowly_fading(std::size_t count, double rq_um, double correlation_mm, unsigned seed) {
  const auto white = profiles::rough(count, 1.0, 0, seed);
  const double keep = std::exp(-kSpacing / correlation_mm);
  std::vector<double> z(count);
  double last = white[0];
  for (std::size_t i = 0; i < count; ++i) {
    last = keep * last + std::sqrt(1.0 - keep * keep) * white[i];
    z[i] = rq_um * last;
  }
  return z;
}

// 3 to 10 waves of 0.5 to 6.7 mm, 0.2 to 2 um over Ra 0.1 to 0.5 um, a crown beneath; every wave that is at
// least as high as the face's own floor.
TEST(WaveFaces, AreReadAsTheyWereMade) {
  WaveWorkspace workspace;
  int judged = 0;
  int missed = 0;
  unsigned seed = 400;
  for (const double face_mm : {5.0, 10.0, 20.0}) {
    const WaveSearch search = prepare(face_mm, {.shortest_mm = 0.49, .longest_mm = face_mm / 2.9});
    for (const double waves : {3.0, 3.4, 5.0, 6.6, 8.0, 10.0}) {
      for (const double height_um : {0.2, 0.7, 2.0}) {
        for (const double ra_um : {0.1, 0.25, 0.5}) {
          ++seed;
          const double spacing_mm = face_mm / waves;
          auto z = profiles::rough(samples_of(face_mm), ra_um * kRqOfRa, 10, seed);
          for (std::size_t i = 0; i < z.size(); ++i) {
            const double x = static_cast<double>(i) * kSpacing;
            const double u = 2.0 * x / face_mm - 1.0;
            z[i] += 0.5 * height_um * sine(x, spacing_mm, 0.7 * seed) - 4.0 * u * u;
          }
          const WaveFinding found = *search.find(z, workspace);
          if (height_um < found.floor_um) continue;
          ++judged;
          const std::string where = std::to_string(face_mm) + " mm, " + std::to_string(waves) + " waves of " +
                                    std::to_string(height_um) + " um, Ra " + std::to_string(ra_um);
          if (!found.found) {
            ++missed;
            continue;
          }
          EXPECT_NEAR(found.count, waves, 0.25) << where;
          EXPECT_NEAR(found.principal_height_um, height_um, 0.3 * found.floor_um) << where;
          // Whole waves: all but the two at the ends, or one.
          EXPECT_GE(static_cast<double>(found.single.wave_count), std::floor(waves - 1.25)) << where;
          EXPECT_LE(static_cast<double>(found.single.wave_count), std::floor(waves + 0.25)) << where;
        }
      }
    }
  }
  EXPECT_GT(judged, 80);
  EXPECT_LE(missed, judged / 20);
}

TEST(WaveFaces, EachCrestStandsWhereItWasPut) {
  const double face_mm = 10.0;
  auto z = profiles::rough(samples_of(face_mm), 0.12, 10, 21);
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = static_cast<double>(i) * kSpacing;
    z[i] += 0.5 * std::cos(2.0 * profiles::kPi * (x - 0.73) / 1.9) + 2.0 * x;
  }
  WaveWorkspace workspace;
  const WaveFinding found = *prepare(face_mm, {0.8, 5.0}).find(z, workspace);
  ASSERT_EQ(found.single.crest_count, 5U);  // 0.73, 2.63, 4.53, 6.43, 8.33
  for (std::size_t k = 0; k < 5; ++k) {
    EXPECT_NEAR(found.single.crests()[k].at_mm, 0.73 + 1.9 * static_cast<double>(k), 0.06);
    EXPECT_NEAR(found.single.crests()[k].height_um, 0.5, 0.05);
  }
  ASSERT_EQ(found.single.wave_count, 4U);
  for (const SingleWave& wave : found.single.waves()) {
    EXPECT_NEAR(wave.spacing_mm, 1.9, 0.03);
    EXPECT_NEAR(wave.height_um, 1.0, 0.1);
    EXPECT_NEAR(wave.spacing_mm, wave.end_mm - wave.start_mm, 1e-12);
  }
  ASSERT_EQ(found.component_count, 1U);
  EXPECT_TRUE(found.components()[0].in_band);
  EXPECT_NEAR(found.components()[0].first_crest_mm, 0.73, 0.06);
  EXPECT_NEAR(found.components()[0].height_um, found.principal_height_um, 1e-12);
}

TEST(WaveFaces, AWaveOutsideOfTheBandIsAComponentButNoWave) {
  auto z = profiles::rough(5000, 0.1, 5, 22);
  for (std::size_t i = 0; i < z.size(); ++i) {
    z[i] += sine(static_cast<double>(i) * kSpacing, 0.45) + sine(static_cast<double>(i) * kSpacing, 2.0);
  }
  WaveWorkspace workspace;
  const WaveFinding found = *prepare(10.0, {0.8, 5.0}).find(z, workspace);
  EXPECT_EQ(found.waves, 1U);
  ASSERT_EQ(found.component_count, 2U);
  EXPECT_NEAR(found.height_um, 2.0, 0.1);
  for (const WaveComponent& component : found.components()) {
    EXPECT_EQ(component.in_band, component.spacing_mm > 0.8);
  }
}

// Fresh seeds; correlation lengths to a sixth of the shortest wave, and spectra that fade slowly.
TEST(WaveFaces, RoughnessOfAnyCorrelationLengthIsNoWave) {
  int false_alarms = 0;
  int faces = 0;
  WaveWorkspace workspace;
  for (const double face_mm : {5.0, 10.0, 20.0}) {
    const WaveSearch search = prepare(face_mm, {.shortest_mm = 0.5, .longest_mm = std::min(6.7, face_mm)});
    for (unsigned seed = 0; seed < 100; ++seed) {
      for (const std::size_t correlation : {0U, 5U, 15U, 40U}) {
        const auto z = profiles::rough(samples_of(face_mm), 0.4, correlation, 31000 + seed);
        false_alarms += search.find(z, workspace)->found ? 1 : 0;
        ++faces;
      }
      for (const double correlation_mm : {0.02, 0.05}) {
        const auto z = slowly_fading(samples_of(face_mm), 0.4, correlation_mm, 32000 + seed);
        false_alarms += search.find(z, workspace)->found ? 1 : 0;
        ++faces;
      }
    }
  }
  EXPECT_LE(false_alarms, 1) << "of " << faces;
}

TEST(WaveFaces, ScratchesAndSpikesAreNoWaves) {
  std::mt19937_64 generator(9);
  const auto uniform = [&generator] { return static_cast<double>(generator() >> 11U) * 0x1.0p-53; };
  WaveWorkspace workspace;
  int found = 0;
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 6.7});
  for (unsigned seed = 0; seed < 200; ++seed) {
    const auto rough = profiles::rough(5000, 0.3, 10, 33000 + seed);
    auto spike = rough;
    spike[static_cast<std::size_t>(uniform() * 5000.0)] += 50.0;
    found += search.find(spike, workspace)->found ? 1 : 0;
    for (const int scratches : {1, 3, 7}) {
      auto z = rough;
      for (int k = 0; k < scratches; ++k) {
        const double at_mm = 10.0 * uniform();
        const double width_mm = 0.02 + 0.08 * uniform();
        const double depth_um = 2.0 + 8.0 * uniform();
        for (std::size_t i = 0; i < z.size(); ++i) {
          const double u = (static_cast<double>(i) * kSpacing - at_mm) / width_mm;
          z[i] -= depth_um * std::max(0.0, 1.0 - std::abs(u));
        }
      }
      found += search.find(z, workspace)->found ? 1 : 0;
    }
  }
  EXPECT_LE(found, 1) << "of 800";
}

// A scratch beside waves: they are still read, and the floor says what it costs.
TEST(WaveFaces, WavesBesideAScratchAreStillRead) {
  auto z = profiles::rough(5000, 0.2, 10, 41);
  for (std::size_t i = 0; i < z.size(); ++i) z[i] += 0.5 * sine(static_cast<double>(i) * kSpacing, 1.7);
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 6.7});
  WaveWorkspace workspace;
  const WaveFinding clean = *search.find(z, workspace);
  for (std::size_t i = 2210; i < 2240; ++i) z[i] -= 6.0;
  const WaveFinding scratched = *search.find(z, workspace);
  ASSERT_TRUE(clean.found && scratched.found);
  EXPECT_NEAR(scratched.spacing_mm, 1.7, 0.05);
  // The scratch's own part in a sinusoid is at most twice its area over the face, 2 * 6 um * 0.06 mm / 10 mm,
  // and twice that from peak to valley.
  EXPECT_NEAR(scratched.height_um, clean.height_um, 0.15);
  EXPECT_GT(scratched.floor_um, clean.floor_um);
}

TEST(WaveFaces, OnTheBordersOfTheBandCountAtEveryPhase) {
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 5.0});
  WaveWorkspace workspace;
  for (int phase = 0; phase < 16; ++phase) {
    for (const double spacing_mm : {0.5, 5.0}) {
      auto z = profiles::rough(5000, 0.15, 10, 500U + static_cast<unsigned>(phase));
      for (std::size_t i = 0; i < z.size(); ++i) {
        z[i] += 0.5 * sine(static_cast<double>(i) * kSpacing, spacing_mm, 0.4 * phase);
      }
      const WaveFinding found = *search.find(z, workspace);
      EXPECT_TRUE(found.found) << spacing_mm << " " << phase;
      EXPECT_NEAR(found.spacing_mm / spacing_mm, 1.0, 0.1) << phase;
      EXPECT_NEAR(found.height_um, 1.0, 0.2) << spacing_mm << " " << phase;
    }
  }
}

std::vector<double> beating(unsigned seed) {
  auto z = profiles::rough(5000, 0.15, 10, seed);
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = static_cast<double>(i) * kSpacing;
    z[i] += 0.6 * sine(x, 2.3, 0.3 * seed) + 0.4 * sine(x, 1.1, 0.5 * seed) - 0.1 * (x - 4.0) * (x - 4.0);
  }
  return z;
}

TEST(WaveFaces, AreTheSameUpsideDown) {
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 5.0});
  WaveWorkspace workspace;
  for (unsigned seed = 1; seed < 20; ++seed) {
    auto z = beating(seed);
    const WaveFinding up = *search.find(z, workspace);
    for (double& height_um : z) height_um = -height_um;
    const WaveFinding down = *search.find(z, workspace);
    ASSERT_TRUE(up.found);
    EXPECT_EQ(up.waves, down.waves);
    EXPECT_NEAR(up.spacing_mm, down.spacing_mm, 1e-9);
    EXPECT_NEAR(up.height_um, down.height_um, 1e-9);
    EXPECT_NEAR(up.floor_um, down.floor_um, 1e-9);
    EXPECT_LE(std::max(up.single.crest_count, down.single.crest_count) -
                  std::min(up.single.crest_count, down.single.crest_count),
              1U);
  }
}

TEST(WaveFaces, AreTheSameFromTheOtherEnd) {
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 5.0});
  WaveWorkspace workspace;
  for (unsigned seed = 1; seed < 20; ++seed) {
    const auto z = beating(seed);
    const WaveFinding there = *search.find(z, workspace);
    const WaveFinding back = *search.find(std::vector<double>(z.rbegin(), z.rend()), workspace);
    ASSERT_TRUE(there.found);
    ASSERT_EQ(there.waves, back.waves);
    EXPECT_NEAR(there.height_um, back.height_um, 0.02);
    EXPECT_NEAR(there.floor_um / back.floor_um, 1.0, 0.02);
    ASSERT_EQ(there.single.wave_count, back.single.wave_count);
    for (std::size_t k = 0; k < there.single.wave_count; ++k) {
      const SingleWave& b = back.single.waves()[there.single.wave_count - 1 - k];
      EXPECT_NEAR(there.single.waves()[k].crest_mm, 10.0 - b.crest_mm, 0.02);
      EXPECT_NEAR(there.single.waves()[k].height_um, b.height_um, 0.02);
    }
  }
}

// A face moved up, tilted or bent is the same face.
TEST(WaveFaces, DoNotDependOnTheirForm) {
  const WaveSearch search = prepare(10.0, {.shortest_mm = 0.5, .longest_mm = 5.0});
  WaveWorkspace workspace;
  auto z = beating(3);
  const WaveFinding plain = *search.find(z, workspace);
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double x = static_cast<double>(i) * kSpacing;
    z[i] += 40.0 - 7.0 * x + 0.8 * x * x;
  }
  const WaveFinding bent = *search.find(z, workspace);
  EXPECT_NEAR(plain.height_um, bent.height_um, 1e-6);
  EXPECT_NEAR(plain.spacing_mm, bent.spacing_mm, 1e-6);
  EXPECT_NEAR(plain.floor_um, bent.floor_um, 1e-6);
}

TEST(WaveFaces, AFormThatFollowsTheWavesIsRefused) {
  for (const int degree : {3, 4, 10}) {
    const auto search = WaveSearch::prepare({.band = {0.5, 5.0},
                                             .form = {.kind = FormKind::kPolynomial, .degree = degree},
                                             .spacing_mm = kSpacing,
                                             .sample_count = 5000});
    ASSERT_FALSE(search.has_value());
    EXPECT_EQ(search.error().code, base::ErrorCode::kInvalidConfig);
    EXPECT_NE(search.error().detail.find("degree " + std::to_string(degree)), std::string::npos);
  }
}

}  // namespace
}  // namespace crestgate::analysis
