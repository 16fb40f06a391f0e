// SPDX-License-Identifier: Apache-2.0
#include "analysis/settings/class_fit.h"

#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

SettingClass named(const char* name) { return *setting_class_named(name); }

std::string refusal(const char* name, const MeasurableFace& face) {
  const auto checked = check_face(named(name), face);
  EXPECT_FALSE(checked.has_value());
  return checked.has_value() ? "" : checked.error().detail;
}

// Traverse lengths with a run-up and run-down of one cut-off: 0.56, 1.75, 5.6, 17.5 and 56 mm.
TEST(ClassFit, ClassesNeedTheirEvaluationLengthAndTwoCutOffs) {
  const double needed_mm[] = {0.56, 1.75, 5.6, 17.5, 56.0};
  for (std::size_t i = 0; i < kSettingClassCount; ++i) {
    const SettingClass& setting = setting_classes()[i];
    const MeasurableFace exact{.length_mm = needed_mm[i], .spacing_um = 0.5};
    EXPECT_NEAR(fit_of(setting, exact).needed_mm, needed_mm[i], 1e-12);
    EXPECT_TRUE(check_face(setting, exact).has_value()) << setting.name;
    const MeasurableFace shorter{.length_mm = needed_mm[i] - 0.001, .spacing_um = 0.5};
    EXPECT_EQ(fit_of(setting, shorter).sections_that_fit, 4) << setting.name;
    EXPECT_EQ(check_face(setting, shorter).error().code, base::ErrorCode::kTooShort);
  }
}

TEST(ClassFit, SaysWhatCanBeMeasuredInstead) {
  EXPECT_EQ(refusal("Sc3", {.length_mm = 4.2, .spacing_um = 0.5}),
            "Sc3 needs 5.6 mm with run-up and run-down, the face has 4.2 mm: 3 sections of Sc3, or Sc2 "
            "(lambda_c 0.25 "
            "mm) in full");
  EXPECT_EQ(refusal("Sc4", {.length_mm = 6.0, .spacing_um = 0.5}),
            "Sc4 needs 17.5 mm with run-up and run-down, the face has 6 mm: Sc3 (lambda_c 0.8 mm) in full");
  EXPECT_EQ(refusal("Sc2", {.length_mm = 0.4, .spacing_um = 0.5}),
            "Sc2 needs 1.75 mm with run-up and run-down, the face has 0.4 mm: 3 sections of Sc1 (lambda_c "
            "0.08 mm)");
  EXPECT_EQ(refusal("Sc1", {.length_mm = 0.25, .spacing_um = 0.5}),
            "Sc1 needs 0.56 mm with run-up and run-down, the face has 0.25 mm: 1 section of Sc1");
  EXPECT_EQ(
      refusal("Sc1", {.length_mm = 0.2, .spacing_um = 0.5}),
      "Sc1 needs 0.56 mm with run-up and run-down, the face has 0.2 mm: not one section of any class fits");
}

TEST(ClassFit, HalfTheRunUpLeavesRoomForMore) {
  const MeasurableFace face{.length_mm = 4.2, .spacing_um = 0.5, .run_up_cut_offs = 0.5};
  EXPECT_EQ(fit_of(named("Sc3"), face).sections_that_fit, 4);
  EXPECT_NEAR(fit_of(named("Sc3"), face).needed_mm, 4.8, 1e-12);
}

TEST(ClassFit, OffersNoClassThatTheSpacingIsTooCoarseFor) {
  const MeasurableFace coarse{.length_mm = 20.0, .spacing_um = 1.5};
  EXPECT_TRUE(check_face(named("Sc4"), coarse).has_value());
  const auto fits = fits_of(coarse);
  EXPECT_FALSE(fits[2].fits());
  EXPECT_TRUE(fits[3].fits());
  EXPECT_EQ(refusal("Sc3", coarse),
            "Sc3 needs a sample spacing of at most 0.5 um for its lambda_s of 2.5 um, found 1.5 um");
  EXPECT_EQ(refusal("Sc5", coarse),
            "Sc5 needs 56 mm with run-up and run-down, the face has 20 mm: Sc4 (lambda_c 2.5 mm) in full");
}

TEST(ClassFit, RefusesAFaceThatIsNone) {
  for (const MeasurableFace& face :
       {MeasurableFace{}, MeasurableFace{.length_mm = 5.0},
        MeasurableFace{.length_mm = -5.0, .spacing_um = 0.5},
        MeasurableFace{.length_mm = std::numeric_limits<double>::infinity(), .spacing_um = 0.5},
        MeasurableFace{.length_mm = 5.0, .spacing_um = 0.5, .run_up_cut_offs = 0.0}}) {
    EXPECT_EQ(check_face(named("Sc3"), face).error().code, base::ErrorCode::kInvalidConfig);
  }
}

}  // namespace
}  // namespace crestgate::analysis
