// SPDX-License-Identifier: Apache-2.0
// Whatever is wrong in a plan or its family is told in the file and line where it stands.
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/families.h"

namespace crestgate::cell {
namespace {

using families::complaint;
using families::good;
using families::kFamily;
using families::kPlan;
using families::replaced;

struct Row {
  std::string plan;
  std::string family;
  std::string words;
};

std::string zone_a(const std::string& more) {
  return std::string(kPlan) + "[[zone]]\nname = \"crest A\"\n" + more;
}

TEST(PlanFamily, EveryComplaintNamesTheFileAndTheLine) {
  const std::string limit = "  [[zone.limit]]\n";
  const Row rows[] = {
      {kPlan, replaced(kFamily, "traverses = 1", "traverses = 0"),
       "lines/family.toml line 10: zone[1].traverses: expected 1 to 50, found 0"},
      {zone_a("traverses = 0\n"), kFamily,
       "lines/plan.toml line 7: zone 'crest A'.traverses: expected 1 to 50, found 0"},
      {zone_a("colour = 1\n"), kFamily, "lines/plan.toml line 7: zone 'crest A': unknown key 'colour'"},
      {zone_a(""), replaced(kFamily, "traverses = 2", "colour = 2"),
       "lines/family.toml line 26: zone 'crest B'.traverses: is missing; not in lines/plan.toml either"},
      {zone_a(""), replaced(kFamily, "traverses = 1\n", ""),
       "lines/plan.toml line 5: zone 'crest A'.traverses: is missing; not in lines/family.toml line 7 "
       "either"},
      {kPlan, replaced(kFamily, "part = \"shaft\"\n", ""),
       "lines/plan.toml line 1: part: is missing; not in lines/family.toml either"},
      {replaced(kPlan, "stage = {number = 2, name = \"finished\"}", "stage = {number = 2}"), kFamily,
       "lines/plan.toml line 4: stage.name: is missing; not in lines/family.toml either"},
      {std::string(kPlan) + "part = 7\n", kFamily,
       "lines/plan.toml line 5: part: expected a text in quotes, found a whole number"},
      {zone_a("traverse = {length_mm = 9.0}\n"), kFamily,
       "lines/plan.toml line 7: zone 'crest A'.traverse.length_mm: the traverse is longer than the face"},
      {zone_a("face_length_mm = 5.0\n"), kFamily,
       "lines/family.toml line 11: zone 'crest A'.traverse.length_mm: the traverse is longer than the face"},
      {zone_a("texture = {lambda_c_mm = 0.8}\n"), kFamily,
       "lines/family.toml line 12: zone 'crest A'.texture.setting_class: expected a class or lengths"},
      {zone_a(limit + "  parameter = \"Ra\"\n  unit = \"nm\"\n"), kFamily,
       "lines/plan.toml line 9: zone 'crest A'.limit 'Ra'.unit: Ra: expected unit 'um', found 'nm'"},
      {zone_a(limit + "  parameter = \"Ra\"\n  lower = 0.5\n"), kFamily,
       "lines/plan.toml line 9: zone 'crest A'.limit 'Ra'.lower: the lower limit is above the upper one"},
      {zone_a(limit + "  parameter = \"Rx\"\n  unit = \"um\"\n  upper = 1\n  rule = \"Tmax\"\n"), kFamily,
       "lines/plan.toml line 8: zone 'crest A'.limit 'Rx'.parameter: these settings give no parameter 'Rx'"},
      {zone_a(limit + "  parameter = \"Ry\"\n"), kFamily, "lines/plan.toml line 8: limit[1].parameter: "},
      {zone_a(limit + "  upper = 1\n"), kFamily, "lines/plan.toml line 7: limit[1].parameter: is missing"},
      {zone_a(limit + "  parameter = \"Rq\"\n  upper = 1\n"), kFamily,
       "lines/plan.toml line 7: zone 'crest A'.limit 'Rq'.rule: is missing; not in lines/family.toml either"},
      {std::string(kPlan) + "[[zone]]\ntraverses = 1\n", kFamily,
       "lines/plan.toml line 5: zone[1].name: is missing"},
      {zone_a("[[zone]]\nname = \"crest A\"\n"), kFamily,
       "lines/plan.toml line 8: zone[2].name: a zone of this name stands above already"},
      {zone_a(""), replaced(kFamily, "crest B", "crest A"),
       "lines/family.toml line 27: zone[2].name: a zone of this name stands above already"},
      {zone_a(""), replaced(kFamily, "name = \"crest B\"\n", ""),
       "lines/family.toml line 26: zone[2].name: is missing"},
      {replaced(kPlan, "name = \"P\"", "name = 2026-01-01"), kFamily,
       "lines/plan.toml line 3: dates and times"},
      {kPlan, replaced(kFamily, "\"shaft\"", "[\n"), "lines/family.toml line "},
      {replaced(kPlan, "format = 1", "format = 2"), kFamily,
       "lines/plan.toml line 1: format: expected 1 to 1"},
      {replaced(kPlan, "format = 1\n", ""), kFamily, "lines/plan.toml line 1: format: is missing"},
      {kPlan, replaced(kFamily, "format = 1\n", ""), "lines/family.toml line 1: format: is missing"},
      {std::string(kPlan) + "zone = 7\n", kFamily, "lines/plan.toml line 5: zone: expected a list of tables"},
      {zone_a(""), "format = 1\nzone = 7\n", "lines/family.toml line 2: zone: expected a list of tables"},
      {zone_a("limit = [1]\n"), kFamily, "lines/plan.toml line 7: limit[1]: expected a table, found a whole"},
  };
  for (const Row& row : rows) {
    const std::string found = complaint(row.plan, row.family);
    EXPECT_EQ(found.rfind(row.words, 0), 0U) << "wanted " << row.words << "\nfound  " << found;
    EXPECT_EQ(found.find('\n'), std::string::npos) << found;
  }
}

TEST(PlanFamily, WhatSaysWhichPlanItIsHasNoPlaceInAFamily) {
  for (const char* key : {"name = \"F\"\n", "stage = {number = 1, name = \"x\"}\n", "made_of = [\"a\"]\n"}) {
    EXPECT_EQ(complaint(kPlan, key + std::string(kFamily)).rfind("lines/family.toml line 1: ", 0), 0U);
  }
  EXPECT_EQ(complaint(kPlan, "family = \"plan.toml\"\n" + std::string(kFamily)),
            "lines/family.toml line 1: family: a family has no family of its own");
  EXPECT_EQ(
      complaint(std::string(kPlan) + "made_of = [\"a\"]\n"),
      "lines/plan.toml line 5: made_of: stands in a plan that is complete in itself, this one has a family");
}

TEST(PlanFamily, AnAbsenceThatDropsNothingIsAMistake) {
  const Row rows[] = {
      {zone_a("[[zone]]\nname = \"journal\"\nabsent = true\n"), kFamily,
       "lines/plan.toml line 9: absent: the family gives nothing here that could be dropped"},
      {zone_a("absent = [\"face\"]\n"), kFamily,
       "lines/plan.toml line 7: absent: the family gives no 'face' here that could be dropped"},
      {zone_a("face = {absent = [\"edge_mm\"]}\n"), kFamily,
       "lines/plan.toml line 7: absent: the family gives nothing here that could be dropped"},
      {zone_a("absent = false\n"), kFamily, "lines/plan.toml line 7: absent: expected a list of keys"},
      {zone_a("absent = [7]\n"), kFamily, "lines/plan.toml line 7: absent: the family gives no '?'"},
      {zone_a("absent = true\ntraverses = 3\n"), kFamily,
       "lines/plan.toml line 8: traverses: what is absent says nothing else"},
      {std::string(kPlan) + "absent = true\n", kFamily,
       "lines/plan.toml line 5: absent: expected a list of keys"},
      {kPlan, replaced(kFamily, "name = \"crest B\"\n", "name = \"crest B\"\nabsent = true\n"),
       "lines/family.toml line 28: absent: only a plan drops what its family gives"},
  };
  for (const Row& row : rows) {
    const std::string found = complaint(row.plan, row.family);
    EXPECT_EQ(found.rfind(row.words, 0), 0U) << "wanted " << row.words << "\nfound  " << found;
  }
  const auto alone = read_complete_plan("format = 1\nabsent = true\n", "plan.toml");
  EXPECT_FALSE(alone.has_value());
}

TEST(PlanFamily, ALimitThatCouldMeanTwoIsRefused) {
  const std::string twice =
      replaced(kFamily, "  [[zone.limit]]\n  parameter = \"Rmr\"",
               "  [[zone.limit]]\n  parameter = \"Ra\"\n  unit = \"um\"\n  upper = 0.2\n"
               "  rule = \"T16%\"\n  [[zone.limit]]\n  parameter = \"Rmr\"");
  EXPECT_EQ(good(kPlan, twice).part_plan.zones[0].limits.size(), 3U);
  EXPECT_EQ(
      complaint(zone_a("  [[zone.limit]]\n  parameter = \"Ra\"\n  upper = 0.1\n"), twice),
      "lines/plan.toml line 7: limit 'Ra': stands 1 time in the plan and 2 times in the family: expected "
      "once each");
  // Dropped, it is dropped whole.
  EXPECT_EQ(good(zone_a("  [[zone.limit]]\n  parameter = \"Ra\"\n  absent = true\n"), twice)
                .part_plan.zones[0]
                .limits.size(),
            1U);
}

}  // namespace
}  // namespace crestgate::cell
