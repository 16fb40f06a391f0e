// SPDX-License-Identifier: Apache-2.0

#include "simulator/scenario/scenario.h"

#include <gtest/gtest.h>

namespace crestgate::simulator {
namespace {

constexpr std::string_view kSmall = R"(# a comment
scenario 1
seed 42
gauge serial SN-1 tip_um 5 noise_um 0.01 step_nm 0.5 baud 115200   # and another
gauge speed_scale 20 shift_mm 0+-0.05
zone 1 crest-a face_mm 12
zone 2 crest-b face_mm 10
surface ground ridges rq_um 0.45+-0.03 correlation_um 12 skew 0.8
surface ground waves count 9 height_um 0.5
surface good from ground
surface good finish plateau_percent 65 texture_um 0.03
part ES-0098..ES-0101 stage 10 zone 1,2 ground
part ES-0098 stage 20 zone 1 good
fault flip_bit probability 0.001 direction to_host part ES-0098 attempt 1
fault disconnect after 400 for_s 2.5 zone 2 times 0
)";

TEST(Scenario, HoldsWhatItsTextSays) {
  const auto read = parse_scenario(kSmall, "small.scenario");
  ASSERT_TRUE(read.has_value()) << read.error().detail;
  EXPECT_EQ(read->seed, 42U);
  EXPECT_EQ(read->gauge.serial_number, "SN-1");
  EXPECT_EQ(read->gauge.tip_radius_nm, 5000U);
  EXPECT_DOUBLE_EQ(read->stylus.tip.radius_um, 5.0);
  EXPECT_EQ(read->gauge.height_step_pm, 500U);
  EXPECT_EQ(read->stylus.step_pm, 500U);
  EXPECT_EQ(read->line.baud, 115'200U);
  EXPECT_DOUBLE_EQ(read->gauge.speed_scale, 20.0);
  EXPECT_EQ(read->shift_mm, (Varied{0.0, 0.05}));
  EXPECT_EQ(read->zones.at(2).name, "crest-b");
  ASSERT_EQ(read->surfaces.at("good").size(), 3U);
  EXPECT_EQ(std::get<Ridges>(read->surfaces.at("good")[0]).rq_um, (Varied{0.45, 0.03}));
  EXPECT_DOUBLE_EQ(std::get<Finish>(read->surfaces.at("good")[2]).follow.mean, 0.5);
  EXPECT_EQ(read->parts.size(), 5U);
  EXPECT_TRUE(read->parts.contains({"ES-0100", 10}));
  EXPECT_EQ(read->parts.at({"ES-0098", 20}), (SurfaceByZone{{1, "good"}}));
  ASSERT_EQ(read->faults.size(), 2U);
  EXPECT_EQ(read->faults[0].direction, Direction::kToHost);
  EXPECT_EQ(read->faults[0].part, "ES-0098");
  EXPECT_EQ(read->faults[1].for_ms, 2500);
  EXPECT_EQ(read->faults[1].after_samples, 400U);
  EXPECT_EQ(read->faults[1].times, 0U);
}

struct Refusal {
  std::string_view statement;  // becomes line 7
  std::string_view text;
};

class ScenarioErrors : public ::testing::TestWithParam<Refusal> {};

TEST_P(ScenarioErrors, NameTheLineWhatWasExpectedAndWhatWasFound) {
  const std::string head = "scenario 1\nzone 1 a face_mm 12\nsurface s flat\npart P-1 zone 1 s\n\n# line 6\n";
  const auto read = parse_scenario(head + std::string(GetParam().statement) + "\n", "x.scenario");
  ASSERT_FALSE(read.has_value());
  EXPECT_EQ(read.error().detail, "x.scenario line 7: " + std::string(GetParam().text));
  EXPECT_EQ(read.error().code, base::ErrorCode::kInvalidConfig);
}

INSTANTIATE_TEST_SUITE_P(
    Each, ScenarioErrors,
    ::testing::Values(
        Refusal{"hello",
                "expected 'seed', 'grid_um', 'gauge', 'zone', 'surface', 'part' or 'fault', found 'hello'"},
        Refusal{"surface w waves count 9 height_um x", "expected a number after 'height_um', found 'x'"},
        Refusal{"surface w waves count 9 height_um",
                "expected a number after 'height_um', found the end of the line"},
        Refusal{"surface w waves count 9 height_um 0.5um",
                "expected a number after 'height_um', found '0.5um'"},
        Refusal{"surface w waves count 9 height_um nan", "expected a number after 'height_um', found 'nan'"},
        Refusal{"surface w waves count 9", "'waves' needs 'height_um'"},
        Refusal{"surface w waves count 9 count 8 height_um 1", "'count' is given twice"},
        Refusal{"surface w waves count 9 hight_um 1",
                "expected 'count', 'height_um' or 'phase_deg' after '9', found 'hight_um'"},
        Refusal{"surface w waves count 9+-x height_um 1",
                "expected a number or mean+-deviation after 'count', found '9+-x'"},
        Refusal{"surface w ridges rq_um 1 correlation_um 9 skew 5",
                "expected a number within -4 to 4 after 'skew', found '5'"},
        Refusal{"surface w from t", "expected the name of an earlier surface after 'from', found 't'"},
        Refusal{"surface s from s", "'from' must be the first statement of surface 's'"},
        Refusal{"part P-2 zone 1 t", "expected the name of an earlier surface after '1', found 't'"},
        Refusal{"part P-2 zone 1",
                "expected the name of an earlier surface after '1', found the end of the line"},
        Refusal{"part P-2 zone 2 s", "zone 2 is not described by an earlier 'zone' statement"},
        Refusal{"part P-2 zone 1, s",
                "expected the numbers of zones like '1' or '1,2' after 'zone', found '1,'"},
        Refusal{"part P-2 zone x s",
                "expected the numbers of zones like '1' or '1,2' after 'zone', found 'x'"},
        Refusal{"part P-1 zone 1 s", "zone 1 of part 'P-1' has a surface already"},
        Refusal{"part P-9..P-10 zone 1 s", "expected a range like 'ES-2041..ES-2050', found 'P-9..P-10'"},
        Refusal{"part P-000002..P-100001 zone 1 s", "a scenario holds at most 100000 parts"},
        Refusal{"part P-2 zone 1 s more", "expected the end of the line after 's', found 'more'"},
        Refusal{"zone 1 b face_mm 12", "zone 1 is given twice"},
        Refusal{"zone 0 b face_mm 12", "zones are counted from 1, found 0"},
        Refusal{"zone 3 b", "'zone' needs 'face_mm'"},
        Refusal{"gauge", "expected a property of the gauge after 'gauge', found the end of the line"},
        Refusal{"gauge tip_um -1", "expected a number within 0 to 1000 after 'tip_um', found '-1'"},
        Refusal{"gauge baud fast",
                "expected 'unlimited' or a number within 300 to 100000000 after 'baud', found 'fast'"},
        Refusal{"seed -1",
                "expected a whole number within 0 to 18446744073709551615 after 'seed', found '-1'"},
        Refusal{"fault flip_bit direction to_host", "'direction' needs 'probability'"},
        Refusal{"fault drop_byte probability 0.1 after 100",
                "'probability' damages all along and 'after' at one place: give one of them"},
        Refusal{"fault hang noticed no",
                "expected 'part', 'stage', 'attempt', 'zone', 'times', 'after' or 'for_s' after 'hang', "
                "found 'noticed'"},
        Refusal{"fault disconnect link other",
                "expected the path of the link after 'other', found the end of the line"},
        Refusal{"fault slow_bytes bytes_per_s 0",
                "expected a number within 1 to 10000000 after 'bytes_per_s', found '0'"},
        Refusal{"fault lift_off noticed maybe", "expected 'yes' or 'no' after 'noticed', found 'maybe'"},
        Refusal{"fault stall part P-7", "part 'P-7' has no earlier 'part' statement"},
        Refusal{
            "fault stall for_s 2",
            "expected 'part', 'stage', 'attempt', 'zone', 'times' or 'after' after 'stall', found 'for_s'"},
        Refusal{"fault flip_bit probability 2",
                "expected a number within 0 to 1 after 'probability', found '2'"}));

TEST(Scenario, WantsItsVersionFirst) {
  EXPECT_EQ(parse_scenario("\nseed 1\n", "x").error().detail, "x line 2: expected 'scenario', found 'seed'");
  EXPECT_EQ(parse_scenario("scenario 2\n", "x").error().detail,
            "x line 1: expected version 1 of the language, found 2");
  EXPECT_EQ(parse_scenario("", "x").error().detail,
            "x: expected the statement 'scenario 1' first, found an empty file");
  EXPECT_EQ(parse_scenario("scenario 1\n", "x").error().detail,
            "x: expected at least one 'part' statement, found none");
}

TEST(Scenario, AMissingFileIsNamed) {
  const auto read = read_scenario("/nowhere/none.scenario");
  ASSERT_FALSE(read.has_value());
  EXPECT_EQ(read.error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(read.error().detail, "/nowhere/none.scenario: expected a scenario file, found none");
}

TEST(Scenario, EveryPrefixIsReadOrRefusedButNeverFatal) {
  for (std::size_t size = 0; size < kSmall.size(); ++size) {
    const auto read = parse_scenario(kSmall.substr(0, size), "p");
    EXPECT_TRUE(read.has_value() || !read.error().detail.empty());
  }
}

}  // namespace
}  // namespace crestgate::simulator
