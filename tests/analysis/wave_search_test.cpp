// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/wave_search.h"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/waves/fisher_test.h"

namespace crestgate::analysis {
namespace {

using profiles::sine;

constexpr double kSpacing = 0.002;  // coarse enough for many faces in little time
constexpr WaveBand kBand{.shortest_mm = 0.8, .longest_mm = 8.0};

WaveFinding find_waves(const std::vector<double>& z, const WaveBand& band, const FormRemoval& form,
                       double spacing_mm = kSpacing) {
  const auto search =
      WaveSearch::prepare({.band = band, .form = form, .spacing_mm = spacing_mm, .sample_count = z.size()});
  EXPECT_TRUE(search.has_value()) << search.error().detail;
  WaveWorkspace workspace;
  const auto found = search->find(z, workspace);
  EXPECT_TRUE(found.has_value());
  return *found;
}

std::vector<double> sum(std::vector<double> a, const std::vector<double>& b) {
  for (std::size_t i = 0; i < a.size(); ++i) a[i] += b[i];
  return a;
}

std::vector<double> wave(std::size_t count, double height_um, double wavelength_mm, double phase) {
  return profiles::sampled(count, kSpacing,
                           [=](double x) { return 0.5 * height_um * sine(x, wavelength_mm, phase); });
}

// A crown of the given height on a face, as an arc.
std::vector<double> crown(std::size_t count, double height_um) {
  const double half_mm = 0.5 * static_cast<double>(count) * kSpacing;
  const double radius_mm = half_mm * half_mm / (2.0 * height_um / 1000.0);
  return profiles::sampled(count, kSpacing, [=](double x) {
    const double u = x - half_mm;
    return 1000.0 * (std::sqrt(radius_mm * radius_mm - u * u) - radius_mm);
  });
}

const FormRemoval kArc{.kind = FormKind::kArc};

// Source: textbook value for 20 ordinates, computed from the sum.
TEST(FisherTest, FivePercentPointOfTwentyOrdinates) {
  EXPECT_NEAR(fisher_probability(0.270404, 20), 0.05, 1e-6);
  EXPECT_EQ(fisher_probability(1.0, 20), 0.0);
  EXPECT_NEAR(fisher_probability(0.05, 20), 1.0, 1e-9);  // the largest of 20 is never less than 1/20
  EXPECT_GE(false_alarm_bound(0.270404, 20, 20.0), 0.05);
  EXPECT_NEAR(false_alarm_bound(0.270404, 20, 20.0), 0.05, 1e-3);
}

TEST(WaveSearch, FindsSixWavesOnACrownedRoughFaceAtEveryPhase) {
  for (int phase = 0; phase < 16; ++phase) {
    const auto z = sum(sum(crown(6000, 15.0), wave(6000, 1.0, 2.0, 0.4 * phase)),
                       profiles::rough(6000, 0.5, 5, 100U + static_cast<unsigned>(phase)));
    const WaveFinding found = find_waves(z, kBand, kArc);
    ASSERT_TRUE(found.found) << phase;
    EXPECT_NEAR(found.count, 6.0, 0.05) << phase;
    EXPECT_NEAR(found.spacing_mm, 2.0, 0.02) << phase;
    EXPECT_NEAR(found.height_um, 1.0, 0.12) << phase;
    EXPECT_EQ(found.waves, 1U) << phase;
  }
}

// The hardest case: the form removal alone would swallow most of a wave as long as the face.
TEST(WaveSearch, FindsOneWaveOnACrownedRoughFace) {
  for (int phase = 0; phase < 16; ++phase) {
    const auto z = sum(sum(crown(5000, 15.0), wave(5000, 4.0, 10.0, 0.4 * phase)),
                       profiles::rough(5000, 0.3, 5, 200U + static_cast<unsigned>(phase)));
    const WaveFinding found = find_waves(z, {.shortest_mm = 0.8, .longest_mm = 10.0}, kArc);
    ASSERT_TRUE(found.found) << phase;
    EXPECT_NEAR(found.count, 1.0, 0.15) << phase;
    EXPECT_NEAR(found.height_um, 4.0, 0.9) << phase;
  }
}

// What an arc of a radius that is not quite the face's own leaves is a crown, no wave.
TEST(WaveSearch, AFixedRadiusThatIsAPercentOffMakesNoWave) {
  const auto face = [](double radius_mm, std::size_t count) {
    return profiles::sampled(count, kSpacing, [=](double x) {
      const double u = x - 0.5 * static_cast<double>(count) * kSpacing;
      return 1000.0 * (std::sqrt(radius_mm * radius_mm - u * u) - radius_mm);
    });
  };
  for (const double wrong_mm : {30.3, 1000.0}) {
    const FormRemoval arc{.kind = FormKind::kArc, .radius_mm = wrong_mm};
    const double radius_mm = wrong_mm == 1000.0 ? 990.0 : 30.0;
    const auto plain = sum(face(radius_mm, 5000), profiles::rough(5000, 0.05, 5, 71));
    EXPECT_FALSE(find_waves(plain, kBand, arc).found) << wrong_mm;
    const WaveFinding found = find_waves(sum(plain, wave(5000, 0.4, 2.0, 0.3)), kBand, arc);
    ASSERT_TRUE(found.found) << wrong_mm;
    EXPECT_NEAR(found.height_um, 0.4, 0.06) << wrong_mm;
    EXPECT_NEAR(found.spacing_mm, 2.0, 0.03) << wrong_mm;
  }
}

TEST(WaveSearch, GivesTheHeightOfAFractionalNumberOfWavesUndiminished) {
  for (const double waves : {1.5, 2.3, 3.7, 5.5, 9.9, 12.4}) {
    const double wavelength_mm = 10.0 / waves;
    const auto z = sum(wave(5000, 2.0, wavelength_mm, 0.7), profiles::rough(5000, 0.05, 5, 17));
    const WaveFinding found = find_waves(z, {.shortest_mm = 0.8, .longest_mm = 8.0}, {});
    ASSERT_TRUE(found.found) << waves;
    EXPECT_NEAR(found.count, waves, 0.02) << waves;
    EXPECT_NEAR(found.height_um, 2.0, 0.06) << waves;
    EXPECT_NEAR(found.principal_height_um, 2.0, 0.06) << waves;
  }
}

TEST(WaveSearch, PureRoughnessIsNeverAWave) {
  struct Face {
    std::size_t count;
    WaveBand band;
    FormRemoval form;
    std::size_t correlation;
  };
  const Face faces[] = {
      {2500, {0.8, 5.0}, kArc, 5},    {5000, {0.8, 8.0}, {}, 15},
      {10000, {0.5, 10.0}, kArc, 15}, {5000, {2.0, 10.0}, {}, 5},
      {5000, {0.4, 2.0}, {}, 0},      {5000, {0.8, 8.0}, {.kind = FormKind::kPolynomial, .degree = 2}, 10},
      {5000, {1.0, 8.0}, kArc, 40}};
  int false_alarms = 0;
  int trials = 0;
  for (const Face& face : faces) {
    const auto search = WaveSearch::prepare(
        {.band = face.band, .form = face.form, .spacing_mm = kSpacing, .sample_count = face.count});
    ASSERT_TRUE(search.has_value());
    WaveWorkspace workspace;
    for (unsigned seed = 0; seed < 100; ++seed) {
      const auto found =
          search->find(profiles::rough(face.count, 1.0, face.correlation, 5000 + seed), workspace);
      ASSERT_TRUE(found.has_value());
      false_alarms += found->found ? 1 : 0;
      ++trials;
      if (!found->found) {
        EXPECT_EQ(found->height_um, 0.0);
      }
    }
  }
  EXPECT_EQ(false_alarms, 0) << "of " << trials;
}

TEST(WaveSearch, OnlyWavesOfTheBandCount) {
  const auto noise = profiles::rough(6000, 0.1, 5, 31);
  const WaveBand band{.shortest_mm = 1.0, .longest_mm = 4.0};
  for (const double inside_mm : {1.0, 1.1, 2.0, 3.7, 4.0}) {
    EXPECT_TRUE(find_waves(sum(noise, wave(6000, 2.0, inside_mm, 1.0)), band, {}).found) << inside_mm;
  }
  for (const double outside_mm : {0.2, 0.5, 0.8, 0.9, 0.97, 4.2, 5.0, 6.5}) {
    const WaveFinding found = find_waves(sum(noise, wave(6000, 2.0, outside_mm, 1.0)), band, {});
    EXPECT_FALSE(found.found) << outside_mm << " " << found.spacing_mm << " " << found.height_um;
  }
}

TEST(WaveSearch, AddsUpSeveralWavesAndNamesTheStrongest) {
  const auto z =
      sum(sum(wave(6000, 2.0, 3.0, 0.2), wave(6000, 1.0, 1.2, 1.0)), profiles::rough(6000, 0.1, 5, 41));
  const WaveFinding found = find_waves(z, kBand, {});
  ASSERT_TRUE(found.found);
  EXPECT_EQ(found.waves, 2U);
  EXPECT_NEAR(found.spacing_mm, 3.0, 0.02);
  EXPECT_NEAR(found.principal_height_um, 2.0, 0.05);
  // Peak to valley of the two in closed form, on the same grid.
  const auto both = sum(wave(6000, 2.0, 3.0, 0.2), wave(6000, 1.0, 1.2, 1.0));
  const auto [low, high] = std::minmax_element(both.begin(), both.end());
  EXPECT_NEAR(found.height_um, *high - *low, 0.08);
}

TEST(WaveSearch, ThePeriodOfTheRoughnessItselfIsNoWave) {
  // A turned-looking face: strong marks every 0.1 mm, far below the band.
  const auto z = sum(wave(6000, 4.0, 0.1, 0.0), profiles::rough(6000, 0.3, 5, 51));
  EXPECT_FALSE(find_waves(z, kBand, {}).found);
}

TEST(WaveSearch, DoesNotDependOnTheDirectionOfTheTraverse) {
  const auto z = sum(sum(crown(6000, 10.0), wave(6000, 1.0, 1.7, 0.9)), profiles::rough(6000, 0.4, 5, 61));
  const std::vector<double> reversed(z.rbegin(), z.rend());
  const WaveFinding a = find_waves(z, kBand, kArc);
  const WaveFinding b = find_waves(reversed, kBand, kArc);
  ASSERT_TRUE(a.found && b.found);
  EXPECT_NEAR(a.spacing_mm, b.spacing_mm, 1e-3);
  EXPECT_NEAR(a.height_um, b.height_um, 1e-2);
}

TEST(WaveSearch, ASmoothFaceWithoutWavesHasNone) {
  EXPECT_FALSE(find_waves(std::vector<double>(5000, 0.0), kBand, {}).found);
  EXPECT_FALSE(find_waves(std::vector<double>(5000, 3.0), kBand, {.kind = FormKind::kNone}).found);
  EXPECT_FALSE(find_waves(crown(5000, 20.0), kBand, kArc).found);
}

TEST(WaveSearch, RefusesAFaceShorterThanItsLongestWaveAndASpacingTooCoarse) {
  const auto longest =
      WaveSearch::prepare({.band = {0.8, 12.0}, .form = {}, .spacing_mm = 0.002, .sample_count = 5000});
  ASSERT_FALSE(longest.has_value());
  EXPECT_EQ(longest.error().code, base::ErrorCode::kTooShort);
  EXPECT_NE(longest.error().detail.find("12 mm"), std::string::npos);
  const auto coarse =
      WaveSearch::prepare({.band = {0.8, 8.0}, .form = {}, .spacing_mm = 0.2, .sample_count = 5000});
  ASSERT_FALSE(coarse.has_value());
  EXPECT_EQ(coarse.error().code, base::ErrorCode::kOutOfRange);
}

}  // namespace
}  // namespace crestgate::analysis
