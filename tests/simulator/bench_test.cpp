// SPDX-License-Identifier: Apache-2.0
// Parts on the bench, the control desk, and that a scenario always says the same.

#include "simulator/scenario/bench.h"

#include <gtest/gtest.h>

#include "base/traverse.h"
#include "hand_driven_host.h"
#include "simulator/scenario/control.h"

namespace crestgate::simulator {
namespace {

constexpr std::string_view kWorks = R"(scenario 1
seed 7
gauge serial SN-1 noise_um 0.005 tilt_um_per_mm 0+-0.5 shift_mm 0+-0.05 boot 3
zone 1 a face_mm 4
zone 2 b face_mm 4
surface ground ridges rq_um 0.5+-0.02 correlation_um 10 skew 1
surface good from ground
surface good finish plateau_percent 60 texture_um 0.03
part P-1 stage 10 zone 1,2 ground
part P-1 stage 20 zone 1,2 good
part P-2 zone 2 good
fault stall part P-1 stage 20 attempt 2 zone 1 after 100
fault vibration part P-2 times 0
)";

constexpr TraverseOrder kOneMm{.length_um = 1000, .spacing_nm = 500, .speed_um_per_s = 500};

class BenchOfTheWorks : public ::testing::Test {
 protected:
  static Scenario works() {
    auto read = parse_scenario(kWorks, "works.scenario");
    EXPECT_TRUE(read.has_value()) << read.error().detail;
    return *read;
  }
  std::string ask(std::string_view command) { return desk.answer(command); }

  Bench bench{works()};
  Gauge gauge{works().gauge, bench, base::MonotonicInstant{}};
  ControlDesk desk{bench, gauge};
};

TEST_F(BenchOfTheWorks, WithNoPartItTracesTheEndStop) {
  const TracedHeights traced = bench.traverse(kOneMm);
  EXPECT_EQ(traced.counts, std::vector<std::int32_t>(2000, base::kOverRangeCount));
  EXPECT_EQ(traced.quality, kWireOverRange);
}

TEST_F(BenchOfTheWorks, CommandsMoveTheParts) {
  EXPECT_EQ(ask("state"), "ok part none stylus clear motion idle faults 2");
  EXPECT_EQ(ask("place P-1"),
            "ok part P-1 stage 20 attempt 1 zone 1 traverses 0 stylus clear motion idle faults 2");
  EXPECT_EQ(ask("zone 2"),
            "ok part P-1 stage 20 attempt 1 zone 2 traverses 0 stylus clear motion idle faults 2");
  EXPECT_EQ(ask("remove"), "ok part none stylus clear motion idle faults 2");
  EXPECT_EQ(ask("place P-1 stage 10"),
            "ok part P-1 stage 10 attempt 1 zone 1 traverses 0 stylus clear motion idle faults 2");
  EXPECT_EQ(ask("remove"), "ok part none stylus clear motion idle faults 2");
  EXPECT_EQ(ask("place P-1 stage 20"),
            "ok part P-1 stage 20 attempt 2 zone 1 traverses 0 stylus clear motion idle faults 2");
  EXPECT_EQ(ask("fault drop_byte probability 0.5"),
            "ok part P-1 stage 20 attempt 2 zone 1 traverses 0 stylus clear motion idle faults 3");
  EXPECT_EQ(ask("fault clear"),
            "ok part P-1 stage 20 attempt 2 zone 1 traverses 0 stylus clear motion idle faults 0");
  EXPECT_FALSE(desk.quit_wanted());
  EXPECT_EQ(ask("quit"), "ok quitting");
  EXPECT_TRUE(desk.quit_wanted());
}

TEST_F(BenchOfTheWorks, CommandsThatCannotBeAreRefusedInOneLine) {
  EXPECT_EQ(ask(""),
            "error control: expected 'place', 'zone', 'remove', 'fault', 'state' or 'quit', "
            "found the end of the line");
  EXPECT_EQ(ask("remove"), "error no part lies on the bench");
  EXPECT_EQ(ask("zone 1"), "error no part lies on the bench");
  EXPECT_EQ(ask("place"), "error control: expected a part after 'place', found the end of the line");
  EXPECT_EQ(ask("place P-3"), "error the scenario has no part 'P-3'");
  EXPECT_EQ(ask("place P-2 stage 20"), "error the scenario has no part 'P-2' at stage 20");
  EXPECT_EQ(ask("fault none"),
            "error control: expected 'flip_bit', 'drop_byte', 'duplicate_frame', 'swap_frames', "
            "'truncate_frame', 'slow_bytes', 'stall', 'silent', 'hang', 'restart', 'reset_in_reply', "
            "'disconnect', 'drive_blocked', 'stale_repeat', 'over_range', 'stuck_stylus', 'lift_off', "
            "'gain_drift', 'vibration', 'stylus_lifted' or 'speed_unsteady', found 'none'");
  EXPECT_EQ(ask("place P-2").substr(0, 2), "ok");
  EXPECT_EQ(ask("place P-1"), "error part P-2 lies on the bench: remove it first");
  EXPECT_EQ(ask("zone 1"), "error part P-2 has no zone 1 in the scenario");
  EXPECT_EQ(ask("quit now"), "error control: expected the end of the line after 'quit', found 'now'");
  EXPECT_FALSE(desk.quit_wanted());
}

TEST_F(BenchOfTheWorks, NothingMovesWhileTheStylusIsDown) {
  ask("place P-1");
  HandDrivenHost host = host_of(gauge);
  host.say(1, StartTraverse{.traverse_id = 1, .length_um = 1000, .spacing_nm = 500, .speed_um_per_s = 500});
  for (const char* command : {"remove", "zone 2", "place P-2"}) {
    EXPECT_EQ(ask(command), "error the stylus is down: retract it first");
  }
  host.say(2, Retract{});
  host.wait_ms(300);
  EXPECT_EQ(ask("remove"), "ok part none stylus clear motion idle faults 2");
}

TEST_F(BenchOfTheWorks, FaultsHappenToTheirPartStageAttemptAndZoneOnly) {
  const auto stalls = [this](std::string_view place, std::string_view zone) {
    ask(place);
    ask(zone);
    const bool stalled = !bench.traverse(kOneMm).upsets.empty();
    const bool again = !bench.traverse(kOneMm).upsets.empty();
    EXPECT_FALSE(again);  // once
    ask("remove");
    return stalled;
  };
  EXPECT_FALSE(stalls("place P-1 stage 20", "zone 1"));
  EXPECT_FALSE(stalls("place P-1 stage 10", "zone 1"));
  EXPECT_FALSE(stalls("place P-1 stage 10", "zone 1"));  // attempt 2, but of another stage
  ask("place P-1 stage 20");
  ask("zone 2");
  EXPECT_TRUE(bench.traverse(kOneMm).upsets.empty());
  ask("zone 1");
  EXPECT_EQ(bench.traverse(kOneMm).upsets,
            (std::vector<Upset>{{.kind = Upset::Kind::kStall, .after_samples = 100, .for_ms = 0}}));
  ask("remove");
  ask("place P-2");
  EXPECT_EQ(bench.traverse(kOneMm).quality, kWireVibration);
  EXPECT_EQ(bench.traverse(kOneMm).quality, kWireVibration);
}

TEST_F(BenchOfTheWorks, RepeatsDifferByTheNoiseAndZonesByTheSurface) {
  ask("place P-1");
  const std::vector<std::int32_t> first = bench.traverse(kOneMm).counts;
  const std::vector<std::int32_t> second = bench.traverse(kOneMm).counts;
  ask("zone 2");
  const std::vector<std::int32_t> other = bench.traverse(kOneMm).counts;
  EXPECT_NE(first, second);
  double noise = 0.0;
  double difference = 0.0;
  for (std::size_t i = 0; i < first.size(); ++i) {
    noise += std::pow(first[i] - second[i], 2);
    difference += std::pow(first[i] - other[i], 2);
  }
  // Two independent noises of 5 nm, each rounded to 1 nm (variance 1/12): sqrt(2 (25 + 1/12)) nm.
  EXPECT_NEAR(std::sqrt(noise / 2000.0), 7.083, 0.6);
  EXPECT_GT(std::sqrt(difference / 2000.0), 50.0);
}

TEST_F(BenchOfTheWorks, AZoneVisitedAgainGoesOnCountingItsTraverses) {
  ask("place P-1");
  const std::vector<std::int32_t> first = bench.traverse(kOneMm).counts;
  ask("zone 2");
  ask("zone 1");
  EXPECT_NE(bench.traverse(kOneMm).counts, first);
}

Bytes session(const Scenario& scenario) {
  Bench bench(scenario);
  Gauge gauge(scenario.gauge, bench, base::MonotonicInstant{});
  Line line(gauge, bench, scenario.line);
  ControlDesk desk(bench, gauge);
  HandDrivenHost host = host_of(line);
  desk.answer("fault flip_bit probability 0.0005");
  std::uint16_t sequence = 0;
  host.say(++sequence, Hello{});
  for (const char* part : {"place P-1 stage 10", "place P-1", "place P-2"}) {
    desk.answer(part);
    host.say(++sequence, AskStill{.averaging_ms = 100});
    host.wait_ms(150);
    ++sequence;
    host.say(
        sequence,
        StartTraverse{.traverse_id = sequence, .length_um = 1000, .spacing_nm = 500, .speed_um_per_s = 500});
    host.wait_alive_ms(2500);
    host.say(++sequence, Retract{});
    host.wait_ms(300);
    desk.answer("remove");
  }
  return host.all_bytes();
}

TEST_F(BenchOfTheWorks, SameScenarioAndSameRequestsGiveIdenticalBytes) {
  const Bytes once = session(works());
  EXPECT_GT(once.size(), 20'000U);
  EXPECT_EQ(once, session(works()));
  Scenario other = works();
  other.seed = 8;
  EXPECT_NE(once, session(other));
}

TEST_F(BenchOfTheWorks, AStageLeavesTheValleysOfTheOneBefore) {
  Scenario still = works();
  still.stylus.noise_um = 0.0;
  still.stylus.tip.radius_um = 0.0;
  still.tilt_um_per_mm = {};
  still.shift_mm = {};
  Bench quiet(still);
  ASSERT_TRUE(quiet.place("P-1", 10).has_value());
  const std::vector<std::int32_t> ground = quiet.traverse(kOneMm).counts;
  ASSERT_TRUE(quiet.remove().has_value());
  ASSERT_TRUE(quiet.place("P-1", 20).has_value());
  const std::vector<std::int32_t> finished = quiet.traverse(kOneMm).counts;
  std::size_t same = 0;
  for (std::size_t i = 0; i < ground.size(); ++i) {
    EXPECT_LE(finished[i], ground[i]);
    same += finished[i] == ground[i] ? 1U : 0U;
  }
  EXPECT_GT(same, 500U);  // of 2000; 40 % of the whole face is valley, a millimetre of it may differ
  EXPECT_LT(same, 1100U);
}

}  // namespace
}  // namespace crestgate::simulator
