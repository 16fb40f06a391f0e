// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/value_doubts_of.h"

#include <map>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/settings/setting_class.h"
#include "analysis/texture/texture_computation.h"

namespace crestgate::analysis {
namespace {

TextureSettings settings_of(std::string_view setting_class) {
  TextureSettings settings;
  apply_setting_class(*setting_class_named(setting_class), settings);
  return settings;
}

// Bounds of the class: ISO 21920-3:2021, from memory.
TEST(ValueDoubtsOf, ATipRounderThanTheClassAllowsIsDoubtedAndAnUnknownOneIsNot) {
  const TextureSettings sc3 = settings_of("Sc3");
  EXPECT_TRUE(doubts_of_gauge({.tip_radius_um = 2.0}, sc3).empty());
  EXPECT_TRUE(doubts_of_gauge({.tip_radius_um = 5.0}, sc3).has(ValueDoubt::kLargeTip));
  EXPECT_TRUE(doubts_of_gauge({}, sc3).empty());
  EXPECT_TRUE(doubts_of_gauge({.tip_radius_um = 5.0}, settings_of("Sc4")).empty());
  EXPECT_TRUE(doubts_of_gauge({.tip_radius_um = 50.0}, {}).empty());  // no class, no bound
}

TEST(ValueDoubtsOf, OnlyASkidIsDoubtedOfThePickups) {
  EXPECT_TRUE(doubts_of_gauge({.pickup = base::Pickup::kSkidded}, {}).has(ValueDoubt::kSkidded));
  EXPECT_TRUE(doubts_of_gauge({.pickup = base::Pickup::kSkidless}, {}).empty());
  EXPECT_TRUE(doubts_of_gauge({.pickup = base::Pickup::kUnknown}, {}).empty());
}

std::map<std::string, DoubtSet> doubts_with(const TextureSettings& settings, DoubtSet of_gauge) {
  const auto computation = TextureComputation::prepare(settings, 0.0005, 11200);
  EXPECT_TRUE(computation.has_value());
  Workspace workspace;
  std::vector<ParameterValue> values(computation->names().size());
  EXPECT_TRUE(computation->run(profiles::rough(11200, 0.3, 20, 1), workspace, values, of_gauge).has_value());
  std::map<std::string, DoubtSet> doubts;
  for (std::size_t i = 0; i < values.size(); ++i) doubts[computation->names()[i].symbol] = values[i].doubts;
  return doubts;
}

TEST(ValueDoubtsOf, ASkidTouchesEverythingButRoughnessAndATipEverything) {
  const auto skid = doubts_with({}, ValueDoubt::kSkidded);
  EXPECT_FALSE(skid.at("Ra").has(ValueDoubt::kSkidded));
  for (const char* symbol : {"Wa", "Pt"}) EXPECT_TRUE(skid.at(symbol).has(ValueDoubt::kSkidded)) << symbol;
  const auto tip = doubts_with({}, ValueDoubt::kLargeTip);
  for (const char* symbol : {"Ra", "Wa", "Pt"})
    EXPECT_TRUE(tip.at(symbol).has(ValueDoubt::kLargeTip)) << symbol;
}

TEST(ValueDoubtsOf, CoarseSamplesAreDoubtedOnlyUnderAClassThatForbidsThem) {
  TextureSettings settings;  // lambda_s allows the spacing, the class does not
  EXPECT_FALSE(doubts_with(settings, {}).at("Ra").has(ValueDoubt::kCoarseSpacing));
  settings.most_spacing_um = 0.4;
  EXPECT_TRUE(doubts_with(settings, {}).at("Ra").has(ValueDoubt::kCoarseSpacing));
  settings.most_spacing_um = 0.5;
  EXPECT_FALSE(doubts_with(settings, {}).at("Ra").has(ValueDoubt::kCoarseSpacing));
}

TEST(ValueDoubtsOf, TheRkFamilyIsDoubtedBehindALinearFilterOnly) {
  for (const auto& [filter, linear] : {std::pair{FilterKind::kGaussian, true},
                                       {FilterKind::kSpline, true},
                                       {FilterKind::kTwoStep, false},
                                       {FilterKind::kRobustOrder2, false}}) {
    TextureSettings settings;
    settings.filter = filter;
    const auto doubts = doubts_with(settings, {});
    EXPECT_EQ(doubts.at("Rk").has(ValueDoubt::kPulledByValleys), linear);
    EXPECT_FALSE(doubts.at("Ra").has(ValueDoubt::kPulledByValleys));
  }
}

}  // namespace
}  // namespace crestgate::analysis
