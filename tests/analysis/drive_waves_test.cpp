// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/drive_waves.h"

#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.002;
constexpr std::size_t kFace = 5000;

WaveSearch search() {
  return *WaveSearch::prepare({.band = {.shortest_mm = 0.8, .longest_mm = 5.0},
                               .form = {.kind = FormKind::kPolynomial, .degree = 2},
                               .spacing_mm = kSpacing,
                               .sample_count = kFace});
}

std::vector<double> wavy(std::size_t count, double height_um, double rough_um, unsigned seed) {
  auto z = profiles::rough(count, rough_um, 5, seed);
  for (std::size_t i = 0; i < count; ++i) {
    z[i] += 0.5 * height_um * profiles::sine(static_cast<double>(i) * kSpacing, 2.0, 0.4);
  }
  return z;
}

TEST(DriveWaves, AreTheWavesOfAFlat) {
  WaveWorkspace workspace;
  const auto drive = find_drive_waves(search(), wavy(kFace, 0.12, 0.01, 1), workspace);
  ASSERT_TRUE(drive.has_value());
  EXPECT_NEAR(drive->drive_um, 0.12, 0.005);
  EXPECT_GT(drive->floor_um, 0.0);
  EXPECT_LT(drive->floor_um, 0.04);
}

TEST(DriveWaves, OfAStraightDriveAreNoneDownToTheFloor) {
  WaveWorkspace workspace;
  const auto drive = find_drive_waves(search(), profiles::rough(kFace, 0.01, 5, 2), workspace);
  ASSERT_TRUE(drive.has_value());
  EXPECT_EQ(drive->drive_um, 0.0);
  EXPECT_GT(drive->floor_um, 0.0);
}

TEST(DriveWaves, OfALongerTraceAreTheLargestOfItsFaces) {
  WaveWorkspace workspace;
  auto flat = wavy(kFace * 5 / 2, 0.1, 0.005, 3);
  const auto rest = wavy(kFace * 5 / 2, 0.3, 0.005, 4);
  for (std::size_t i = kFace * 3 / 2; i < flat.size(); ++i)
    flat[i] = rest[i];  // only the last face is all this
  const auto drive = find_drive_waves(search(), flat, workspace);
  ASSERT_TRUE(drive.has_value());
  EXPECT_NEAR(drive->drive_um, 0.3, 0.01);
}

TEST(DriveWaves, NeedAWholeFace) {
  WaveWorkspace workspace;
  const auto drive = find_drive_waves(search(), std::vector<double>(kFace - 1, 0.0), workspace);
  ASSERT_FALSE(drive.has_value());
  EXPECT_EQ(drive.error().code, base::ErrorCode::kTooShort);
  EXPECT_NE(drive.error().detail.find("5000"), std::string::npos);
}

TEST(DriveWaves, FlagThePartsThatHaveNoHigherOnes) {
  WaveWorkspace workspace;
  const DriveWaves drive = *find_drive_waves(search(), wavy(kFace, 0.4, 0.02, 5), workspace);
  for (const double height_um : {0.0, 0.2, 0.3, 0.6, 1.5}) {
    WaveFinding part = *search().find(wavy(kFace, height_um, 0.05, 6), workspace);
    EXPECT_EQ(part.found, height_um > 0.0);
    EXPECT_FALSE(part.below_drive);
    hold_against_drive(drive, part);
    EXPECT_EQ(part.drive_um, drive.drive_um);
    EXPECT_EQ(part.below_drive, height_um > 0.0 && height_um < 0.4) << height_um;
  }
}

}  // namespace
}  // namespace crestgate::analysis
