// SPDX-License-Identifier: Apache-2.0
// A description is either understood whole or refused with one line that names file, line, key, wanted and
// found.

#include "daemon/cell/config/cell_description.h"

#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/document.h"
#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell {
namespace {

const char* const kPlan = R"(format = 1
name = "P"
part = "shaft"
stage = {number = 2, name = "finished"}
part_id = "required"
attempts_allowed = 3
on_reject = "rework"
on_none = "measure again"

[[zone]]
name = "crest A"
face_length_mm = 8.0
traverses = 1
traverse = {length_mm = 5.6, spacing_um = 0.5, speed_mm_per_s = 1.0}
texture = {lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 5, filter = "gaussian", form = "line"}
waves = {shortest_mm = 0.5, longest_mm = 2.8}
  [[zone.limit]]
  parameter = "Ra"
  unit = "um"
  upper = 0.25
  rule = "Tmax"
  [[zone.limit]]
  parameter = "Rmr"
  reference_percent = 5
  depth_um = 0.4
  unit = "%"
  lower = 55
  rule = "Tmax"
)";

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

// The complaint about a plan in which `from` was replaced by `to`.
std::string complaint(const std::string& from, const std::string& to) {
  const auto plan = read_plan(replaced(kPlan, from, to), "plan.toml");
  EXPECT_FALSE(plan.has_value()) << "accepted with " << to;
  return plan.has_value() ? "" : plan.error().detail;
}

TEST(PlanDescription, IsReadWhole) {
  const auto plan = read_plan(kPlan, "folder/plan.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->name, "P");
  EXPECT_EQ(plan->stage_number, 2);
  EXPECT_EQ(plan->on_reject, base::Fate::kRework);
  ASSERT_EQ(plan->part_plan.zones.size(), 1U);
  const auto& zone = plan->part_plan.zones[0];
  EXPECT_DOUBLE_EQ(zone.settings.lambda_s_mm, 0.0025);
  ASSERT_EQ(zone.limits.size(), 2U);
  EXPECT_EQ(zone.limits[1].symbol, "Rmr(5%,0.4um)");
  EXPECT_EQ(zone.limits[1].lower, 55.0);
  EXPECT_DOUBLE_EQ(plan->traverses[0].spacing_mm, 0.0005);
  EXPECT_EQ(plan->document.content, kPlan);
  EXPECT_EQ(plan->document.source, "plan.toml");
}

TEST(PlanDescription, UnknownKeyIsRefusedWithItsLineAndTheKnownKeys) {
  EXPECT_EQ(
      complaint("lambda_c_mm = 0.8", "lambda_c_mm = 0.8, lamda_s_um = 2"),
      "plan.toml line 15: zone[1].texture: unknown key 'lamda_s_um'; known here: setting_class, lambda_s_um, "
      "lambda_c_mm, sections, section_length_mm, filter, ends, lambda_f_mm, hill_percent, dale_percent, "
      "pruning_percent, closing_radius_mm, opening_radius_mm, form");
}

TEST(PlanDescription, ASettingClassStandsForItsLengths) {
  const auto plan = read_plan(
      replaced(kPlan, "lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 5", "setting_class = \"Sc3\""),
      "plan.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->part_plan.zones[0].settings.setting_class, "Sc3");
  EXPECT_DOUBLE_EQ(plan->part_plan.zones[0].settings.lambda_c_mm, 0.8);
  EXPECT_NE(complaint("lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 5", "setting_class = \"Sc4\"")
                .find("Sc4 needs 17.5 mm with run-up and run-down, the face has 5.6 mm"),
            std::string::npos);
  EXPECT_NE(complaint("lambda_s_um = 2.5,", "lambda_s_um = 2.5, setting_class = \"Sc3\",").find("found both"),
            std::string::npos);
}

// Ra up to 0.25 um and a material ratio both stand for Sc3.
TEST(PlanDescription, WithoutClassAndLengthsTheLimitsChoose) {
  const auto plan =
      read_plan(replaced(kPlan, "lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 5, ", ""), "plan.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->part_plan.zones[0].settings.setting_class, "Sc3");
  const auto finer = replaced(kPlan, "upper = 0.25", "upper = 0.1");  // Sc2, but the material ratio says Sc3
  const auto torn =
      read_plan(replaced(finer, "lambda_s_um = 2.5, lambda_c_mm = 0.8, sections = 5, ", ""), "plan.toml");
  ASSERT_FALSE(torn.has_value());
  EXPECT_NE(torn.error().detail.find("Sc2"), std::string::npos) << torn.error().detail;
}

TEST(PlanDescription, EveryTableOfAZoneIsRead) {
  const auto plan = read_plan(replaced(kPlan, "waves = {shortest_mm = 0.5, longest_mm = 2.8}",
                                       "waves = {shortest_mm = 0.5, longest_mm = 2.8, drive_um = 0.04}\n"
                                       "prepare = {bridge_um = 2.5, spike_threshold = 8.0}\n"
                                       "face = {edge_mm = 0.4, radius_mm = 20.0, most_skew_degrees = 0.5}"),
                              "plan.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  const auto& settings = plan->part_plan.zones[0].settings;
  EXPECT_EQ(settings.waves->drive_um, 0.04);
  EXPECT_EQ(settings.preparation.bridge_um, 2.5);
  EXPECT_EQ(settings.preparation.spikes->threshold, 8.0);
  EXPECT_EQ(settings.face->skew->radius_mm, 20.0);
  EXPECT_EQ(settings.ratios.size(), 1U);
}

TEST(PlanDescription, OlderNamesAreUnderstood) {
  const auto plan = read_plan(replaced(kPlan, "parameter = \"Ra\"", "parameter = \"Rmax\""), "plan.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->part_plan.zones[0].limits[0].symbol, "Rzx");
  EXPECT_NE(complaint("parameter = \"Ra\"", "parameter = \"Ry\"").find("Ry"), std::string::npos);
}

TEST(PlanDescription, MissingKeyIsNamed) {
  EXPECT_EQ(complaint("attempts_allowed = 3\n", ""), "plan.toml line 1: attempts_allowed: is missing");
}

TEST(PlanDescription, WrongUnitIsRefused) {
  EXPECT_EQ(complaint("unit = \"um\"", "unit = \"nm\""),
            "plan.toml line 19: zone[1].limit[1].unit: Ra: expected unit 'um', found 'nm'");
}

TEST(PlanDescription, UnknownParameterIsRefused) {
  EXPECT_NE(complaint("parameter = \"Ra\"", "parameter = \"Rx\"")
                .find("plan.toml line 18: zone[1].limit[1].parameter: these settings give no parameter 'Rx'"),
            std::string::npos);
}

TEST(PlanDescription, ImpossibleCutoffForTheTraverseIsRefused) {
  const std::string found = complaint("lambda_c_mm = 0.8", "lambda_c_mm = 2.5");
  EXPECT_EQ(found.find("plan.toml line 15: zone[1].texture: does not fit the traverse: "), 0U) << found;
}

TEST(PlanDescription, TraverseLongerThanTheFaceIsRefused) {
  EXPECT_NE(complaint("face_length_mm = 8.0", "face_length_mm = 5.0").find("longer than the face"),
            std::string::npos);
}

TEST(PlanDescription, DuplicateZoneIsRefused) {
  const std::string zone = std::string(kPlan).substr(std::string(kPlan).find("[[zone]]"));
  const auto plan = read_plan(std::string(kPlan) + zone, "plan.toml");
  ASSERT_FALSE(plan.has_value());
  EXPECT_NE(plan.error().detail.find("zone[2].name: a zone of this name stands above already"),
            std::string::npos)
      << plan.error().detail;
}

TEST(PlanDescription, RuleAndBoundsAreNeverGuessed) {
  EXPECT_NE(complaint("  rule = \"Tmax\"\n  [[zone.limit]]", "  [[zone.limit]]")
                .find("zone[1].limit[1].rule: is missing"),
            std::string::npos);
  EXPECT_NE(complaint("upper = 0.25\n", "").find("expected a lower or an upper limit"), std::string::npos);
  EXPECT_NE(
      complaint("upper = 0.25", "lower = 0.5\n  upper = 0.25").find("the lower limit is above the upper one"),
      std::string::npos);
}

TEST(PlanDescription, WrongKindsOfValueAreRefused) {
  EXPECT_EQ(complaint("attempts_allowed = 3", "attempts_allowed = \"3\""),
            "plan.toml line 6: attempts_allowed: expected a whole number, found a text");
  EXPECT_EQ(complaint("attempts_allowed = 3", "attempts_allowed = 0"),
            "plan.toml line 6: attempts_allowed: expected 1 to 1000, found 0");
  EXPECT_EQ(complaint("on_reject = \"rework\"", "on_reject = \"melt\""),
            "plan.toml line 7: on_reject: expected one of: quarantine, rework, scrap; found 'melt'");
  EXPECT_EQ(complaint("upper = 0.25", "upper = nan"),
            "plan.toml line 20: zone[1].limit[1].upper: expected -1e+06 to 1e+06, found nan");
  EXPECT_EQ(complaint("stage = {number = 2, name = \"finished\"}", "stage = 2"),
            "plan.toml line 4: stage: expected a table, found a whole number");
  EXPECT_EQ(complaint("name = \"P\"", "name = \"\""),
            "plan.toml line 2: name: expected a text, found an empty one");
  EXPECT_EQ(complaint("name = \"P\"", "name = 2026-01-01"),
            "plan.toml line 2: dates and times have no use here");
}

TEST(PlanDescription, BrokenTomlIsOneLine) {
  const auto plan = read_plan("format = 1\nname = [\n", "plan.toml");
  ASSERT_FALSE(plan.has_value());
  EXPECT_EQ(plan.error().detail.find("plan.toml line "), 0U) << plan.error().detail;
  EXPECT_EQ(plan.error().detail.find('\n'), std::string::npos);
}

struct CellFile : ::testing::Test {
  std::filesystem::path folder;
  void SetUp() override {
    folder = std::filesystem::path(::testing::TempDir()) /
             ("cell_" + std::string(::testing::UnitTest::GetInstance()->current_test_info()->name()));
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    write("plan.toml", kPlan);
  }
  void TearDown() override { std::filesystem::remove_all(folder); }
  void write(const std::string& name, const std::string& text) const { std::ofstream(folder / name) << text; }
  [[nodiscard]] base::Result<CellDescription> read(const std::string& text) const {
    write("cell.toml", text);
    return read_cell((folder / "cell.toml").string());
  }
  std::string cell = R"(format = 1
name = "bench"
ledger = "ledger"
[[gauge]]
kind = "link"
port = "gauge"
serial_number = "S"
[plc]
address = "127.0.0.1"
port = 1502
heartbeat = "required"
[[output]]
kind = "terminal"
[[plan]]
recipe = 12
file = "plan.toml"
)";
};

TEST_F(CellFile, IsReadWithItsPlansAndPathsFromItsFolder) {
  const auto found = read(cell);
  ASSERT_TRUE(found.has_value()) << found.error().detail;
  EXPECT_EQ(found->ledger, folder / "ledger");
  EXPECT_EQ(found->gauges[0].port, (folder / "gauge").string());
  EXPECT_EQ(found->plc.heartbeat_timeout_ms, 2000U);
  ASSERT_EQ(found->plans.size(), 1U);
  EXPECT_EQ(found->plans[0].recipe, 12);
  EXPECT_EQ(found->plans[0].plan.name, "P");
}

TEST_F(CellFile, MissingPlanFileIsNamedWithTheLineThatNamesIt) {
  const auto found = read(replaced(cell, "plan.toml", "nowhere.toml"));
  ASSERT_FALSE(found.has_value());
  EXPECT_NE(found.error().detail.find("cell.toml line 16: plan[1].file: "), std::string::npos)
      << found.error().detail;
  EXPECT_NE(found.error().detail.find("nowhere.toml: no such file"), std::string::npos);
}

TEST_F(CellFile, AMistakeInAPlanIsReportedInThePlansOwnLine) {
  write("plan.toml", replaced(kPlan, "traverses = 1", "traverses = 0"));
  const auto found = read(cell);
  ASSERT_FALSE(found.has_value());
  EXPECT_NE(found.error().detail.find("plan.toml line 13: zone[1].traverses: expected 1 to 50, found 0"),
            std::string::npos)
      << found.error().detail;
}

TEST_F(CellFile, DuplicateRecipeIsRefused) {
  const auto found = read(cell + "[[plan]]\nrecipe = 12\nfile = \"plan.toml\"\n");
  ASSERT_FALSE(found.has_value());
  EXPECT_NE(found.error().detail.find("a plan with this recipe stands above already"), std::string::npos);
}

TEST_F(CellFile, TwoPartsOfItUseNothingTogether) {
  const auto complaint = [&](const std::string& more) {
    const auto found = read(cell + more);
    return found.has_value() ? std::string() : found.error().detail;
  };
  const std::string coils = "[[output]]\nkind = \"coils\"\naddress = \"10.0.0.7\"\nport = 502\n";
  const std::string light = "[[output.light]]\nlabel = \"L\"\nshows = \"reject\"\n";
  EXPECT_EQ(complaint(coils + "first_coil = 4\n" + light + coils + "name = \"b\"\nfirst_coil = 5\n" + light),
            "");
  EXPECT_NE(complaint(coils + "first_coil = 4\n" + light + coils + "name = \"b\"\nfirst_coil = 4\n" + light)
                .find("output 'coils' and output 'b' both use coils of Modbus device 10.0.0.7 port 502"),
            std::string::npos);
  EXPECT_NE(complaint("[[output]]\nkind = \"terminal\"\nname = \"b\"\n").find("both use standard output"),
            std::string::npos);
  EXPECT_NE(
      complaint("[scanner]\nport = \"./gauge\"\nlabel = \"{part_id}\"\n").find("the gauge and the scanner"),
      std::string::npos);
}

TEST_F(CellFile, FoldersAndMissingFilesAreRefused) {
  EXPECT_NE(read_cell(folder.string()).error().detail.find("expected a file, found something else"),
            std::string::npos);
  EXPECT_NE(read_cell((folder / "none.toml").string()).error().detail.find("no such file"),
            std::string::npos);
}

}  // namespace
}  // namespace crestgate::cell
