// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/face_length.h"

#include <cmath>
#include <cstddef>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/faces.h"
#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.0005;
constexpr double kPointMm = 0.004;

struct Face {
  double start_mm = 1.0;
  double end_mm = 15.0;
  double trace_mm = 16.0;
  double spacing_mm = kSpacing;
};

// Flat between its edges, chamfered beyond them: falls slope um for each mm.
std::vector<double> chamfered(const Face& face, double um_per_mm = 1000.0) {
  return profiles::sampled(static_cast<std::size_t>(std::lround(face.trace_mm / face.spacing_mm)),
                           face.spacing_mm, [&](double x) {
                             return -um_per_mm * std::max({0.0, face.start_mm - x, x - face.end_mm});
                           });
}

FaceLengthFinding measured(const std::vector<double>& heights_um, double spacing_mm = kSpacing) {
  const auto length = FaceLength::prepare({.spacing_mm = spacing_mm, .sample_count = heights_um.size()});
  EXPECT_TRUE(length.has_value());
  FaceLengthWorkspace workspace;
  return length->measure(heights_um, workspace);
}

void add(std::vector<double>& heights_um, const std::vector<double>& more_um) {
  for (std::size_t i = 0; i < heights_um.size(); ++i) heights_um[i] += more_um[i];
}

// Closed form: on a chamfer of 45 degrees the surface has fallen 20 um 0.02 mm beyond the corner, at 15 degrees
// 0.02 / tan 15 = 0.0746 mm.
TEST(FaceLength, OfAChamferedFaceIsThatTwentyMicrometresDown) {
  const FaceLengthFinding steep = measured(chamfered({}));
  ASSERT_TRUE(steep.length_mm().has_value());
  EXPECT_NEAR(*steep.start_mm, 1.0 - 0.02, 0.001);
  EXPECT_NEAR(*steep.end_mm, 15.0 + 0.02, 0.001);
  EXPECT_NEAR(*steep.length_mm(), 14.04, 0.002);
  const FaceLengthFinding slight = measured(chamfered({}, 1000.0 * std::tan(15.0 * profiles::kPi / 180.0)));
  EXPECT_NEAR(*slight.length_mm(), 14.0 + 2.0 * 0.0746, 0.003);
}

// Closed form: on a rounding of radius r the surface has fallen d at sqrt(2 r d - d^2) after it begins; for 0.2 mm
// and 0.02 mm that is 0.0872 mm.
TEST(FaceLength, OfARoundedFaceIsThatTwentyMicrometresDown) {
  static constexpr double kRadius = 0.2;
  const auto heights_um = profiles::sampled(32000, kSpacing, [](double x) {
    const double beyond_mm = std::min(kRadius, std::max({0.0, 1.0 - x, x - 15.0}));
    return 1000.0 * (std::sqrt(kRadius * kRadius - beyond_mm * beyond_mm) - kRadius);
  });
  EXPECT_NEAR(*measured(heights_um).length_mm(), 14.0 + 2.0 * 0.0872, 0.002);
}

// A step has no slope to interpolate on: the point that lies half over it is gone, up to one and a half at each end.
TEST(FaceLength, AtAVerticalEdgeIsKnownToAPointAndAHalf) {
  for (const double end_mm : {14.0, 14.0035, 14.0075, 14.5}) {
    const auto heights_um =
        profiles::sampled(32000, kSpacing, [&](double x) { return x < 1.0 || x > end_mm ? -800.0 : 0.0; });
    const double length_mm = *measured(heights_um).length_mm();
    EXPECT_LE(length_mm, end_mm - 1.0 + kSpacing) << end_mm;
    EXPECT_GE(length_mm, end_mm - 1.0 - 3.0 * kPointMm) << end_mm;
  }
}

// Roughness moves the edge by its height over the slope: grinding of Rz about 3 um on 45 degrees by some 0.003 mm.
TEST(FaceLength, RoughnessMovesItByItsOwnHeightAtMost) {
  for (std::uint64_t seed = 1; seed <= 10; ++seed) {
    for (const double length_mm : {6.0, 13.49, 14.0, 14.51}) {
      const double start_mm = 8.0 - 0.5 * length_mm;
      auto heights_um = chamfered({.start_mm = start_mm, .end_mm = start_mm + length_mm});
      add(heights_um, faces::ground({.sample_count = heights_um.size(), .seed = seed}));
      const auto found = measured(heights_um);
      ASSERT_TRUE(found.length_mm().has_value()) << seed;
      EXPECT_NEAR(*found.length_mm(), length_mm + 0.04, 0.012) << seed;
    }
  }
}

// Crown, tilt, waves, deep grooves, and the roll-off that finishing leaves at an edge are the face, not its end.
TEST(FaceLength, TheFormOfTheFaceIsNoFall) {
  for (const double crown_um : {0.0, 8.0, -8.0, 60.0}) {
    auto heights_um = chamfered({});
    add(heights_um, profiles::sampled(heights_um.size(), kSpacing, [&](double x) {
          const double t = (x - 8.0) / 7.0;
          const double roll_off = 3.0 * std::pow(std::max(0.0, std::abs(x - 8.0) - 6.5) / 0.5, 2.0);
          return 40.0 * t - crown_um * t * t + 1.5 * profiles::sine(x, 2.2, 0.4) +
                 0.8 * profiles::sine(x, 0.8) - std::min(roll_off, 3.0);
        }));
    add(heights_um, profiles::rough(heights_um.size(), 0.4, 12, 3));
    for (std::size_t groove = 3000; groove < 28000; groove += 2500) {
      for (std::size_t i = 0; i < 160; ++i) heights_um[groove + i] -= 45.0;  // 0.08 mm wide
    }
    const auto found = measured(heights_um);
    ASSERT_TRUE(found.length_mm().has_value()) << crown_um;
    EXPECT_NEAR(*found.length_mm(), 14.04, 0.02) << crown_um;
  }
}

// The face lies where it lies.
TEST(FaceLength, NeedNotLieInTheMiddle) {
  for (const double start_mm : {0.2, 1.0, 2.5, 6.0}) {
    const auto found = measured(chamfered({.start_mm = start_mm, .end_mm = start_mm + 9.5}));
    ASSERT_TRUE(found.length_mm().has_value()) << start_mm;
    EXPECT_NEAR(*found.start_mm, start_mm - 0.02, 0.001);
    EXPECT_NEAR(*found.length_mm(), 9.54, 0.002);
  }
}

TEST(FaceLength, IsUndefinedWhereTheTraceDoesNotShowTheFall) {
  const auto only_end = measured(chamfered({.start_mm = -1.0}));
  EXPECT_FALSE(only_end.start_mm.has_value());
  EXPECT_NEAR(*only_end.end_mm, 15.02, 0.001);
  EXPECT_FALSE(only_end.length_mm().has_value());
  const auto only_start = measured(chamfered({.end_mm = 17.0}));
  EXPECT_TRUE(only_start.start_mm.has_value());
  EXPECT_FALSE(only_start.end_mm.has_value());
  const auto neither = measured(profiles::rough(32000, 0.5, 12, 1));
  EXPECT_FALSE(neither.start_mm.has_value() || neither.end_mm.has_value());
  // The fall is there, and the trace ends before it has lasted a tenth of a millimetre.
  EXPECT_FALSE(measured(chamfered({.end_mm = 15.9})).end_mm.has_value());
  EXPECT_TRUE(measured(chamfered({.end_mm = 15.8})).end_mm.has_value());
  // A shoulder.
  const auto shoulder = profiles::sampled(32000, kSpacing, [](double x) {
    return x < 1.0 ? -300.0 : x > 15.0 ? 300.0 : 0.0;
  });
  EXPECT_TRUE(measured(shoulder).start_mm.has_value());
  EXPECT_FALSE(measured(shoulder).end_mm.has_value());
}

TEST(FaceLength, DoesNotDependOnTheSpacing) {
  for (const double spacing_mm : {0.0001, 0.00025, 0.001, 0.003, 0.02, 0.1}) {
    const auto found = measured(chamfered({.spacing_mm = spacing_mm}), spacing_mm);
    ASSERT_TRUE(found.length_mm().has_value()) << spacing_mm;
    EXPECT_NEAR(*found.length_mm(), 14.04, std::max(0.005, 2.0 * spacing_mm)) << spacing_mm;
  }
}

TEST(FaceLength, IsTheSameBackwards) {
  auto heights_um = chamfered({.start_mm = 2.0, .end_mm = 13.3});
  add(heights_um, faces::ground({.sample_count = heights_um.size(), .seed = 5}));
  const double forwards = *measured(heights_um).length_mm();
  std::ranges::reverse(heights_um);
  EXPECT_NEAR(*measured(heights_um).length_mm(), forwards, 0.002);
}

// Whatever stands under the stylus: an answer, no crash.
TEST(FaceLength, OfWhatIsNoFaceIsStillAnAnswer) {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    auto heights_um = profiles::rough(8000, 200.0, 40 * seed, seed);
    const auto found = measured(heights_um);
    if (const auto length_mm = found.length_mm()) {
      EXPECT_GE(*length_mm, 0.0);
      EXPECT_LE(*length_mm, 4.0);
    }
  }
  EXPECT_FALSE(measured(std::vector<double>(8000, 0.0)).length_mm().has_value());
}

TEST(FaceLength, NeedsATraceAndASpacing) {
  EXPECT_EQ(FaceLength::prepare({.spacing_mm = 0.0, .sample_count = 8000}).error().code,
            base::ErrorCode::kOutOfRange);
  const auto refused = FaceLength::prepare({.spacing_mm = kSpacing, .sample_count = 1000});
  EXPECT_EQ(refused.error().code, base::ErrorCode::kTooShort);
  EXPECT_EQ(refused.error().detail, "a face length needs a trace of at least 0.70 mm, found 0.50 mm");
}

}  // namespace
}  // namespace crestgate::analysis
