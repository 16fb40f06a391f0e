// SPDX-License-Identifier: Apache-2.0
// Numbers of the classes: ISO 21920-3:2021 4.4, from memory of the standard.
#include "analysis/settings/setting_class.h"

#include <cmath>
#include <limits>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/texture/evaluation_layout.h"

namespace crestgate::analysis {
namespace {

using testing::AllOf;
using testing::HasSubstr;

base::Limit upper(const std::string& symbol, double value, const std::string& unit = "um") {
  return {.symbol = symbol, .unit = unit, .lower = std::nullopt, .upper = value};
}

base::Limit lower(const std::string& symbol, double value) {
  return {.symbol = symbol, .unit = "um", .lower = value, .upper = std::nullopt};
}

std::string chosen(const std::vector<base::Limit>& limits) {
  const auto choice = choose_setting_class(std::nullopt, limits);
  EXPECT_TRUE(choice.has_value()) << choice.error().detail;
  return choice ? std::string(choice->setting.name) : "";
}

std::string refusal(const std::vector<base::Limit>& limits) {
  const auto choice = choose_setting_class(std::nullopt, limits);
  EXPECT_FALSE(choice.has_value());
  if (choice.has_value()) return "";
  EXPECT_EQ(choice.error().code, base::ErrorCode::kInvalidConfig);
  return choice.error().detail;
}

TEST(SettingClass, TheTableHasFiveRows) {
  struct Row {
    const char* name;
    double lambda_c_mm, lambda_s_um, section_mm, evaluation_mm, spacing_um, tip_um;
  };
  for (const Row& row :
       {Row{"Sc1", 0.08, 2.5, 0.08, 0.4, 0.5, 2.0}, Row{"Sc2", 0.25, 2.5, 0.25, 1.25, 0.5, 2.0},
        Row{"Sc3", 0.8, 2.5, 0.8, 4.0, 0.5, 2.0}, Row{"Sc4", 2.5, 8.0, 2.5, 12.5, 1.5, 5.0},
        Row{"Sc5", 8.0, 25.0, 8.0, 40.0, 5.0, 10.0}}) {
    const auto setting = setting_class_named(row.name);
    ASSERT_TRUE(setting.has_value());
    EXPECT_EQ(setting->lambda_c_mm, row.lambda_c_mm);
    EXPECT_DOUBLE_EQ(setting->lambda_s_mm * 1000.0, row.lambda_s_um);
    EXPECT_EQ(setting->section_length_mm, row.section_mm);
    EXPECT_EQ(setting->evaluation_length_mm, row.evaluation_mm);
    EXPECT_EQ(setting->most_spacing_um, row.spacing_um);
    EXPECT_EQ(setting->most_tip_radius_um, row.tip_um);
    EXPECT_EQ(setting->sections(), 5);
  }
}

// At its own coarsest spacing each class must be one that can be laid out: lambda_s / 5.
TEST(SettingClass, EveryRowCanBeLaidOutAtItsCoarsestSpacing) {
  for (const SettingClass& setting : setting_classes()) {
    TextureSettings settings;
    settings.form = {.kind = FormKind::kArc};
    apply_setting_class(setting, settings);
    EXPECT_TRUE(check_settings(settings).has_value());
    EXPECT_EQ(settings.form.kind, FormKind::kArc);
    const double spacing_mm = setting.most_spacing_um / 1000.0;
    const auto samples = static_cast<std::size_t>(
        std::lround((setting.evaluation_length_mm + 2.0 * setting.lambda_c_mm) / spacing_mm));
    const auto layout = lay_out(settings, {.spacing_mm = spacing_mm, .sample_count = samples + 2});
    ASSERT_TRUE(layout.has_value()) << setting.name << layout.error().detail;
    EXPECT_TRUE(layout->full_run_up) << setting.name;
    EXPECT_EQ(layout->sections, 5U);
  }
}

TEST(SettingClass, ANameOfThePlanDecidesWhateverTheLimitsSay) {
  const auto choice = choose_setting_class("Sc4", std::vector{upper("Ra", 0.05), upper("Rt", 3.0)});
  ASSERT_TRUE(choice.has_value());
  EXPECT_EQ(choice->setting.name, "Sc4");
  EXPECT_EQ(choice->source, ClassSource::kNamed);
  const auto unknown = choose_setting_class("Sc6", {});
  ASSERT_FALSE(unknown.has_value());
  EXPECT_EQ(unknown.error().detail, "expected a setting class (Sc1, Sc2, Sc3, Sc4, Sc5), found 'Sc6'");
}

TEST(SettingClass, AValueOnTheBorderBelongsToTheFinerRow) {
  struct Row {
    double ra_um, rz_um;
    const char *on, *above;
  };
  for (const Row& row : {Row{0.02, 0.16, "Sc1", "Sc2"}, Row{0.1, 0.8, "Sc2", "Sc3"},
                         Row{2.0, 16.0, "Sc3", "Sc4"}, Row{10.0, 80.0, "Sc4", "Sc5"}}) {
    EXPECT_EQ(chosen({upper("Ra", row.ra_um)}), row.on);
    EXPECT_EQ(chosen({upper("Ra", std::nextafter(row.ra_um, 100.0))}), row.above);
    EXPECT_EQ(chosen({upper("Rz", row.rz_um)}), row.on);
    EXPECT_EQ(chosen({upper("Rz", std::nextafter(row.rz_um, 100.0))}), row.above);
  }
  EXPECT_EQ(chosen({upper("Ra", 0.0)}), "Sc1");
  EXPECT_EQ(chosen({upper("Rz", 1e6)}), "Sc5");
}

// A ground face of Rz 0.6 um: ISO 4288:1996 took a cut-off of 0.8 mm, ISO 21920-3 takes 0.25 mm.
TEST(SettingClass, AGroundFaceOfRz0Point6IsMeasuredAt0Point25Mm) {
  const auto choice = choose_setting_class(std::nullopt, std::vector{upper("Rz", 0.6)});
  ASSERT_TRUE(choice.has_value());
  EXPECT_EQ(choice->setting.lambda_c_mm, 0.25);
  EXPECT_EQ(choice->source, ClassSource::kLimits);
  EXPECT_EQ(choice->why, "Sc2: the upper limit of Rz, 0.6 um");
}

TEST(SettingClass, TheUpperLimitPicksAndTheLowerOneOnlyWhenAlone) {
  const base::Limit both{.symbol = "Ra", .unit = "um", .lower = 0.05, .upper = 0.6};
  EXPECT_EQ(chosen({both}), "Sc3");
  EXPECT_EQ(chosen({lower("Ra", 0.05)}), "Sc2");
  EXPECT_EQ(choose_setting_class(std::nullopt, std::vector{lower("Ra", 0.05)})->why,
            "Sc2: the lower limit of Ra, 0.05 um");
}

TEST(SettingClass, LimitsThatDisagreeAskForTheClass) {
  EXPECT_EQ(refusal({upper("Ra", 0.08), upper("Rz", 1.2)}),
            "the limits ask for different setting classes: Sc2 (the upper limit of Ra, 0.08 um), Sc3 (the "
            "upper limit "
            "of Rz, 1.2 um); state the setting class in the plan, or measure them in zones of their own");
  EXPECT_THAT(
      refusal({upper("Rk", 0.2), upper("Ra", 0.08)}),
      AllOf(HasSubstr("Sc3 (the default for Rk)"), HasSubstr("Sc2 (the upper limit of Ra, 0.08 um)")));
  EXPECT_EQ(chosen({upper("Ra", 0.4), upper("Rz", 3.0), upper("Rk", 0.8)}), "Sc3");
}

TEST(SettingClass, ParametersWithoutAKnownRowNeedTheClassInThePlan) {
  for (const char* symbol : {"Rq", "Rp", "Rv", "Rzx", "Rt", "Pt", "Wa", "Wt"}) {
    EXPECT_THAT(refusal({upper("Ra", 0.4), upper(symbol, 1.0)}),
                AllOf(HasSubstr(std::string("the limit of ") + symbol + " ("),
                      HasSubstr("state the setting class in the plan")));
    EXPECT_TRUE(choose_setting_class("Sc3", std::vector{upper(symbol, 1.0)}).has_value());
  }
}

TEST(SettingClass, EverythingElseIsSc3) {
  EXPECT_EQ(chosen({}), "Sc3");
  EXPECT_EQ(chosen({upper("Rpk", 0.2), lower("Rmr(5%,1.0um)", 40.0), upper("Rsk", -0.5, "")}), "Sc3");
  const auto choice = choose_setting_class(std::nullopt, std::vector{upper("Rvk", 0.2)});
  EXPECT_EQ(choice->source, ClassSource::kDefault);
  EXPECT_EQ(choice->why, "Sc3: the default for Rvk");
  EXPECT_EQ(chosen({upper("WaveHeight", 0.2)}), "Sc3");
  EXPECT_EQ(chosen({upper("WaveHeight", 0.2), upper("Ra", 0.08)}), "Sc2");  // picks nothing
}

TEST(SettingClass, ALimitThatIsNoHeightPicksNothing) {
  EXPECT_THAT(refusal({upper("Ra", -0.1)}), HasSubstr("found -0.1 um"));
  EXPECT_THAT(refusal({upper("Ra", 0.1, "mm")}), HasSubstr("found 0.1 mm"));
  EXPECT_THAT(refusal({upper("Rz", std::numeric_limits<double>::quiet_NaN())}), HasSubstr("cannot pick"));
  EXPECT_THAT(
      refusal({base::Limit{.symbol = "Ra", .unit = "um", .lower = std::nullopt, .upper = std::nullopt}}),
      HasSubstr("cannot pick"));
}

}  // namespace
}  // namespace crestgate::analysis
