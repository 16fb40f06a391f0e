// SPDX-License-Identifier: Apache-2.0
// Sampling, the gauge of a zone, and what tells the plan's part from another.
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell {
namespace {

std::string plan_text(const std::string& keys, const std::string& zone_keys,
                      const std::string& texture = "form = \"arc\"", double length_mm = 5.6,
                      const std::string& limit_more = "") {
  return "format = 1\nname = \"P\"\npart = \"shaft\"\nstage = {number = 2, name = \"finished\"}\n"
         "part_id = \"required\"\nattempts_allowed = 3\non_reject = \"rework\"\non_none = \"measure "
         "again\"\n" +
         keys +
         "[[zone]]\nname = \"crest A\"\nface_length_mm = 8.0\ntraverses = 1\ntraverse = {length_mm = " +
         std::to_string(length_mm) + ", spacing_um = 0.5, speed_mm_per_s = 1.0}\n" +
         "texture = {setting_class = \"Sc3\", filter = \"gaussian\", " + texture + "}\n" + zone_keys +
         "  [[zone.limit]]\n  parameter = \"Ra\"\n  unit = \"um\"\n  upper = 0.25\n  rule = \"Tmax\"\n" +
         limit_more;
}

PlanDescription good(const std::string& text) {
  auto plan = read_plan(text, "plan.toml");
  EXPECT_TRUE(plan.has_value()) << plan.error().detail;
  return plan ? *plan : PlanDescription{};
}

std::string complaint(const std::string& text) {
  const auto plan = read_plan(text, "plan.toml");
  EXPECT_FALSE(plan.has_value());
  return plan ? "" : plan.error().detail;
}

TEST(PlanKeys, WithoutThemEveryPartIsMeasuredByTheCellsFirstGauge) {
  const PlanDescription plan = good(plan_text("", ""));
  EXPECT_EQ(plan.sampling, (SamplingPlan{.every = 1, .after_dress = true, .after_reject = 0}));
  EXPECT_EQ(plan.on_not_sampled, base::Fate::kQuarantine);
  EXPECT_EQ(plan.traverses[0].gauge, "");
  EXPECT_FALSE(plan.part_plan.zones[0].identity.are_asked());
}

TEST(PlanKeys, SamplingIsRead) {
  const PlanDescription plan =
      good(plan_text("sampling = {every = 5, after_dress = false, after_reject = 10}\non_not_sampled = "
                     "\"pass unmeasured\"\n",
                     ""));
  EXPECT_EQ(plan.sampling, (SamplingPlan{.every = 5, .after_dress = false, .after_reject = 10}));
  EXPECT_EQ(plan.on_not_sampled, base::Fate::kPassUnmeasured);
  const PlanDescription shorter =
      good(plan_text("sampling = {every = 10000}\non_not_sampled = \"quarantine\"\n", ""));
  EXPECT_EQ(shorter.sampling, (SamplingPlan{.every = 10000, .after_dress = true, .after_reject = 0}));
  EXPECT_EQ(shorter.on_not_sampled, base::Fate::kQuarantine);
  EXPECT_EQ(good(plan_text("sampling = {every = 1}\n", "")).sampling.every, 1U);
}

TEST(PlanKeys, SamplingThatCannotBeMeantIsRefused) {
  struct Row {
    const char* keys;
    const char* words;
  };
  for (const Row& row : {
           Row{"sampling = {every = 5}\n",
               "plan.toml line 1: on_not_sampled: is missing, and the sampling passes over parts"},
           Row{"sampling = {every = 0}\n", "plan.toml line 9: sampling.every: expected 1 to 10000, found 0"},
           Row{"sampling = {every = 10001}\n",
               "plan.toml line 9: sampling.every: expected 1 to 10000, found 10001"},
           Row{"sampling = {every = 2.5}\n", "plan.toml line 9: sampling.every: expected a whole number"},
           Row{"sampling = {after_dress = true}\n", "plan.toml line 9: sampling.every: is missing"},
           Row{"sampling = {every = 2, after_reject = -1}\n",
               "plan.toml line 9: sampling.after_reject: expected 0 to 10000, found -1"},
           Row{"sampling = {every = 2, after_dress = 1}\n",
               "plan.toml line 9: sampling.after_dress: expected true or false"},
           Row{"sampling = {every = 2, upon = 1}\n", "plan.toml line 9: sampling: unknown key 'upon'"},
           Row{"sampling = 5\n", "plan.toml line 9: sampling: expected a table"},
           Row{"sampling = {every = 2}\non_not_sampled = \"pass\"\n",
               "plan.toml line 10: on_not_sampled: expected one of: pass unmeasured, quarantine; found "
               "'pass'"},
       }) {
    const std::string found = complaint(plan_text(row.keys, ""));
    EXPECT_EQ(found.rfind(row.words, 0), 0U) << found;
  }
}

TEST(PlanKeys, AZoneNamesItsGauge) {
  EXPECT_EQ(good(plan_text("", "gauge = \"form gauge\"\n")).traverses[0].gauge, "form gauge");
  EXPECT_EQ(complaint(plan_text("", "gauge = \"\"\n"))
                .rfind("plan.toml line 15: zone[1].gauge: expected a text", 0),
            0U);
}

TEST(PlanKeys, IdentityBandsAreRead) {
  const PlanDescription plan = good(plan_text(
      "", "identity = {radius_mm = [21.8, 22.2], face_length_mm = [7.5, 8.5]}\n", "form = \"arc\"", 9.0));
  const analysis::IdentityBands& bands = plan.part_plan.zones[0].identity;
  EXPECT_EQ(bands.radius_mm, (analysis::Band{21.8, 22.2}));
  EXPECT_EQ(bands.face_length_mm, (analysis::Band{7.5, 8.5}));
  const PlanDescription only = good(plan_text("", "identity = {radius_mm = [22, 22]}\n"));
  EXPECT_EQ(only.part_plan.zones[0].identity.radius_mm, (analysis::Band{22.0, 22.0}));
  EXPECT_FALSE(only.part_plan.zones[0].identity.face_length_mm.has_value());
}

TEST(PlanKeys, IdentityThatIsNotMeasuredIsRefused) {
  struct Row {
    const char* zone_keys;
    const char* texture;
    double length_mm;
    const char* words;
  };
  const char* const arc = "form = \"arc\"";
  const char* const line = "form = \"line\"";
  const char* const radius = "identity = {radius_mm = [21.8, 22.2]}\n";
  const char* const length = "identity = {face_length_mm = [7.5, 8.5]}\n";
  for (const Row& row : {
           Row{radius, line, 5.6,
               "plan.toml line 15: zone[1].identity: a radius is measured only where the form is an arc"},
           Row{radius, "form = \"arc\", form_radius_mm = 22", 5.6,
               "plan.toml line 15: zone[1].identity: the form's radius is given as 22 mm, so none is "
               "measured"},
           Row{length, line, 5.6,
               "plan.toml line 15: zone[1].identity: the traverse of 5.6 mm does not show both "
               "edges of a face of 8.5 mm: expected at least 8.7 mm"},
           Row{length, "form = \"polynomial\", form_degree = 2", 9.0,
               "plan.toml line 15: zone[1].identity: a face length is not measured behind a polynomial"},
           Row{length, "form = \"line\", closing_radius_mm = 1.0", 9.0,
               "plan.toml line 15: zone[1].identity: a face length is not measured behind a disk"},
           Row{"waves = {shortest_mm = 0.5, longest_mm = 2.8}\nidentity = {face_length_mm = [7.5, 8.5]}\n",
               line, 9.0, "plan.toml line 15: zone[1].waves: expected a traverse that stays on the face"},
           Row{"face = {edge_mm = 0.5}\nidentity = {face_length_mm = [7.5, 8.5]}\n", line, 9.0,
               "plan.toml line 15: zone[1].face: expected a traverse that stays on the face"},
           Row{"identity = {face_length_mm = [4.0, 8.5]}\n", line, 9.0,
               "plan.toml line 14: zone[1].texture: does not fit the traverse: Sc3 needs 5.6 mm with run-up "
               "and "
               "run-down, the face has 4 mm"},
           Row{"", line, 9.0,
               "plan.toml line 13: zone[1].traverse.length_mm: the traverse is longer than the face"},
           Row{"identity = {}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity: expected radius_mm, face_length_mm or both"},
           Row{"identity = {radius_mm = [22.2, 21.8]}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity.radius_mm: expected the lower number first, found 22.2 "
               "before"},
           Row{"identity = {radius_mm = 22}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity.radius_mm: expected a list of two numbers"},
           Row{"identity = {radius_mm = [22, \"x\"]}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity.radius_mm: expected numbers from 0.01 to 100000, found a "
               "text"},
           Row{"identity = {radius_mm = [-1, nan]}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity.radius_mm: expected numbers from 0.01 to 100000, found "
               "-1"},
           Row{"identity = {radius_mm = [1, nan]}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity.radius_mm: expected numbers from 0.01 to 100000, found "
               "nan"},
           Row{"identity = {diameter_mm = [1, 2]}\n", arc, 5.6,
               "plan.toml line 15: zone[1].identity: unknown key 'diameter_mm'"},
       }) {
    const std::string found = complaint(plan_text("", row.zone_keys, row.texture, row.length_mm));
    EXPECT_EQ(found.rfind(row.words, 0), 0U) << "wanted " << row.words << "\nfound  " << found;
  }
}

}  // namespace
}  // namespace crestgate::cell
