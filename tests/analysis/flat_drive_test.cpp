// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/flat_drive.h"

#include <limits>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.0005;
constexpr TraceShape kFace{.spacing_mm = kSpacing, .sample_count = 11200};

TextureSettings with_waves() {
  TextureSettings settings;
  settings.waves = WaveBand{.shortest_mm = 0.5, .longest_mm = 2.8};
  return settings;
}

std::vector<double> flat(double height_um, double rough_um) {
  auto z = profiles::rough(2 * kFace.sample_count, rough_um, 20, 3);
  for (std::size_t i = 0; i < z.size(); ++i) {
    z[i] += 0.5 * height_um * profiles::sine(static_cast<double>(i) * kSpacing, 1.4) + 50.0;
  }
  return z;
}

TEST(FlatDrive, GivesTheHeightOfTheDrivesWaves) {
  const auto drive = drive_waves_on_flat(with_waves(), kFace, flat(0.2, 0.005), kSpacing);
  ASSERT_TRUE(drive.has_value()) << drive.error().detail;
  EXPECT_NEAR(drive->drive_um, 0.2, 0.01);
  EXPECT_LT(drive->floor_um, 0.05);
}

// A rough flat shows no waves because they hide, and says how high they could be.
TEST(FlatDrive, ARoughFlatHasItsFloor) {
  const auto drive = drive_waves_on_flat(with_waves(), kFace, flat(0.0, 1.0), kSpacing);
  ASSERT_TRUE(drive.has_value());
  EXPECT_EQ(drive->drive_um, 0.0);
  EXPECT_GT(drive->floor_um, 0.3);
}

TEST(FlatDrive, RefusesAnotherSpacingAGapAndAFlatShorterThanTheFace) {
  const auto code = [](const std::vector<double>& heights_um, double spacing_mm) {
    return drive_waves_on_flat(with_waves(), kFace, heights_um, spacing_mm).error().code;
  };
  EXPECT_EQ(code(flat(0.1, 0.01), 0.00025), base::ErrorCode::kOutOfRange);
  auto gap = flat(0.1, 0.01);
  gap[100] = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(code(gap, kSpacing), base::ErrorCode::kNoData);
  EXPECT_EQ(code(std::vector<double>(5000, 0.0), kSpacing), base::ErrorCode::kTooShort);
}

}  // namespace
}  // namespace crestgate::analysis
