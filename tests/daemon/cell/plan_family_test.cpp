// SPDX-License-Identifier: Apache-2.0
// A plan and its family are one plan.
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/families.h"

namespace crestgate::cell {
namespace {

using families::good;
using families::kFamily;
using families::kPlan;
using families::replaced;

std::vector<std::string> zone_names(const PlanDescription& plan) {
  std::vector<std::string> names;
  for (const auto& zone : plan.part_plan.zones) names.push_back(zone.name);
  return names;
}

TEST(PlanFamily, APlanThatSaysNothingMoreIsItsFamily) {
  const PlanDescription plan = good(kPlan);
  EXPECT_EQ(plan.name, "P");
  EXPECT_EQ(plan.part, "shaft");
  EXPECT_EQ(plan.stage_name, "finished");
  EXPECT_EQ(zone_names(plan), (std::vector<std::string>{"crest A", "crest B"}));
  EXPECT_EQ(plan.part_plan.zones[0].limits.size(), 2U);
  EXPECT_EQ(plan.part_plan.zones[1].traverses, 2U);
  EXPECT_EQ(plan.made_of, (std::vector<std::string>{"plan.toml", "family.toml"}));
}

TEST(PlanFamily, ThePlanWinsKeyByKey) {
  const PlanDescription plan = good(std::string(kPlan) + R"(attempts_allowed = 5
[[zone]]
name = "crest A"
traverse = {speed_mm_per_s = 0.5}
texture = {form = "arc"}
  [[zone.limit]]
  parameter = "Ra"
  upper = 0.2
)");
  EXPECT_EQ(plan.attempts_allowed, 5U);
  EXPECT_EQ(plan.on_reject, base::Fate::kRework);
  EXPECT_EQ(plan.traverses[0].speed_mm_per_s, 0.5);
  EXPECT_EQ(plan.traverses[0].length_mm, 5.6);
  const auto& zone = plan.part_plan.zones[0];
  EXPECT_EQ(zone.settings.form.kind, analysis::FormKind::kArc);
  EXPECT_EQ(zone.settings.setting_class, "Sc3");
  EXPECT_EQ(zone.limits[0].upper, 0.2);
  EXPECT_EQ(zone.limits[0].unit, "um");
  EXPECT_EQ(zone.limits[1].lower, 55.0);
}

TEST(PlanFamily, FamilyOrderComesFirstThenWhatOnlyThePlanHas) {
  const PlanDescription plan = good(std::string(kPlan) + R"([[zone]]
name = "journal"
face_length_mm = 8.0
traverses = 1
traverse = {length_mm = 5.6, spacing_um = 0.5, speed_mm_per_s = 1.0}
texture = {setting_class = "Sc3", filter = "gaussian", form = "line"}
  [[zone.limit]]
  parameter = "Ra"
  unit = "um"
  upper = 0.4
  rule = "Tmax"
[[zone]]
name = "crest B"
  [[zone.limit]]
  parameter = "Rq"
  unit = "um"
  upper = 0.5
  rule = "Tmax"
  [[zone.limit]]
  parameter = "Rz"
  upper = 3.0
)");
  EXPECT_EQ(zone_names(plan), (std::vector<std::string>{"crest A", "crest B", "journal"}));
  const auto& limits = plan.part_plan.zones[1].limits;
  ASSERT_EQ(limits.size(), 2U);
  EXPECT_EQ(limits[0].symbol, "Rz");
  EXPECT_EQ(limits[0].upper, 3.0);
  EXPECT_EQ(limits[1].symbol, "Rq");
}

TEST(PlanFamily, ALimitIsFoundByItsParameterHoweverItIsSpelled) {
  const PlanDescription in_one = good(std::string(kPlan) + R"toml([[zone]]
name = "crest A"
  [[zone.limit]]
  parameter = "Rmr(5%,0.4um)"
  lower = 60
)toml");
  ASSERT_EQ(in_one.part_plan.zones[0].limits.size(), 2U);
  EXPECT_EQ(in_one.part_plan.zones[0].limits[1].lower, 60.0);
  const PlanDescription in_keys =
      good(std::string(kPlan) + R"([[zone]]
name = "crest A"
  [[zone.limit]]
  parameter = "Rmr"
  reference_percent = 5.0
  depth_um = 0.40
  lower = 60
)",
           replaced(kFamily, "parameter = \"Rmr\"\n  reference_percent = 5\n  depth_um = 0.4\n",
                    "parameter = \"Rmr(5%,0.4um)\"\n"));
  EXPECT_EQ(in_keys.part_plan, in_one.part_plan);
  // Another depth is another parameter.
  const PlanDescription other = good(std::string(kPlan) + R"([[zone]]
name = "crest A"
  [[zone.limit]]
  parameter = "Rmr"
  reference_percent = 5
  depth_um = 0.6
  unit = "%"
  lower = 70
  rule = "Tmax"
)");
  EXPECT_EQ(other.part_plan.zones[0].limits.size(), 3U);
  // Ry is an older name, resolved as the reader does: Rmax stands for Rzx.
  const PlanDescription older =
      good(std::string(kPlan) +
               "[[zone]]\nname = \"crest B\"\n  [[zone.limit]]\n  parameter = \"Rmax\"\n  upper = 9\n",
           replaced(kFamily, "parameter = \"Rz\"", "parameter = \"Rzx\""));
  ASSERT_EQ(older.part_plan.zones[1].limits.size(), 1U);
  EXPECT_EQ(older.part_plan.zones[1].limits[0].upper, 9.0);
}

TEST(PlanFamily, WhatIsAbsentIsDropped) {
  const PlanDescription plan = good(std::string(kPlan) + R"([[zone]]
name = "crest B"
absent = true
[[zone]]
name = "crest A"
absent = ["waves"]
texture = {absent = ["setting_class"], lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 4}
  [[zone.limit]]
  parameter = "Rmr"
  reference_percent = 5
  depth_um = 0.4
  absent = true
)");
  EXPECT_EQ(zone_names(plan), (std::vector<std::string>{"crest A"}));
  const auto& zone = plan.part_plan.zones[0];
  EXPECT_FALSE(zone.settings.waves.has_value());
  EXPECT_EQ(zone.settings.sections, 4);
  EXPECT_EQ(zone.settings.setting_class, "");
  ASSERT_EQ(zone.limits.size(), 1U);
  EXPECT_EQ(zone.limits[0].symbol, "Ra");
}

}  // namespace
}  // namespace crestgate::cell
