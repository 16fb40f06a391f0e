// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/askew.h"

#include <cmath>

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

// Source: (20 sin 1 deg)^2 / (8 * 20) mm by hand calculator.
TEST(AskewTrace, OneDegreeOnTwentyMillimetres) {
  EXPECT_NEAR(askew_crown_um({.length_mm = 20.0, .radius_mm = 20.0, .skew_degrees = 1.0}), 0.76147, 1e-5);
  EXPECT_EQ(askew_crown_um({.length_mm = 20.0, .radius_mm = 20.0, .skew_degrees = 0.0}), 0.0);
  EXPECT_EQ(askew_crown_um({.length_mm = 20.0, .radius_mm = 20.0, .skew_degrees = -2.0}),
            askew_crown_um({.length_mm = 20.0, .radius_mm = 20.0, .skew_degrees = 2.0}));
}

// Source: the circle itself, R - sqrt(R^2 - h^2).
TEST(AskewTrace, FollowsTheCircle) {
  for (const double radius_mm : {10.0, 20.0, 60.0}) {
    for (const double skew_degrees : {0.2, 1.0, 5.0, 10.0}) {
      const double half_mm = 10.0 * std::sin(skew_degrees * std::acos(-1.0) / 180.0);
      const double sagitta_um = 1000.0 * (radius_mm - std::sqrt(radius_mm * radius_mm - half_mm * half_mm));
      EXPECT_NEAR(askew_crown_um({.length_mm = 20.0, .radius_mm = radius_mm, .skew_degrees = skew_degrees}) /
                      sagitta_um,
                  1.0, 0.3 * half_mm * half_mm / (radius_mm * radius_mm));
    }
  }
}

}  // namespace
}  // namespace crestgate::analysis
