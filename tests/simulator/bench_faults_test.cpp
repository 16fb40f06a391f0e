// SPDX-License-Identifier: Apache-2.0
// Faults as the control port asks for them: what they do to the next traverse, and that they are spent then.

#include <cmath>
#include <map>
#include <optional>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/traverse.h"
#include "simulator/link/messages.h"
#include "simulator/scenario/bench.h"
#include "simulator/scenario/control.h"

namespace crestgate::simulator {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

// No noise: a second traverse of the same zone finds the same heights to the last count.
constexpr std::string_view kQuiet = R"(scenario 1
seed 7
gauge serial SN-1 noise_um 0 step_nm 0.01 boot 3
zone 1 a face_mm 4
zone 2 b face_mm 4
surface ground ridges rq_um 0.5 correlation_um 10 skew 1
part P-1 zone 1,2 ground
part P-2 zone 1 ground
)";

constexpr TraverseOrder kOneMm{
    .length_um = 1000, .spacing_nm = 500, .speed_um_per_s = 500};  // 2000 samples, 2 s
constexpr double kStepUm = 1e-5;

class FaultsAskedFor : public ::testing::Test {
 protected:
  static Scenario quiet() { return *parse_scenario(kQuiet, "quiet.scenario"); }
  void ask(const std::string& fault) {
    const std::string answer = desk.answer("fault " + fault);
    EXPECT_EQ(answer.substr(0, 2), "ok") << answer;
  }
  std::vector<std::int32_t> first_traverse() {
    EXPECT_TRUE(bench.place("P-1", std::nullopt).has_value());
    return traverse().counts;
  }
  TracedHeights traverse() { return bench.traverse(kOneMm); }

  Bench bench{quiet()};
  Gauge gauge{quiet().gauge, bench, base::MonotonicInstant{}};
  ControlDesk desk{bench, gauge};
  std::vector<std::int32_t> truth = first_traverse();
};

TEST_F(FaultsAskedFor, WithoutOneTraversesAreTheSame) {
  const TracedHeights again = traverse();
  EXPECT_EQ(again.counts, truth);
  EXPECT_EQ(again.quality, 0);
  EXPECT_THAT(again.upsets, IsEmpty());
}

// Each kind with nothing but its name: it does something to the next traverse, and nothing to the one after.
TEST_F(FaultsAskedFor, EachKindHappensToTheNextTraverseAndOnlyToThat) {
  for (const char* kind :
       {"flip_bit",       "drop_byte",  "duplicate_frame", "swap_frames",   "truncate_frame",
        "slow_bytes",     "stall",      "silent",          "hang",          "restart",
        "reset_in_reply", "disconnect", "drive_blocked",   "over_range",    "stuck_stylus",
        "lift_off",       "gain_drift", "vibration",       "stylus_lifted", "speed_unsteady"}) {
    SCOPED_TRACE(kind);
    ask(kind);
    const TracedHeights hit = traverse();
    EXPECT_TRUE(hit.counts != truth || hit.quality != 0 || !hit.upsets.empty());
    const TracedHeights after = traverse();
    EXPECT_EQ(after.counts, truth);
    EXPECT_EQ(after.quality, 0);
    EXPECT_THAT(after.upsets, IsEmpty());
    EXPECT_EQ(bench.line_faults(), LineFaultSettings{});
  }
}

TEST_F(FaultsAskedFor, WhatHappensToTheLineReachesTheGaugeWithItsNumbers) {
  const std::map<std::string, Upset> wanted = {
      {"flip_bit after 300", {.kind = Upset::Kind::kFlipBit, .after_samples = 300}},
      {"drop_byte", {.kind = Upset::Kind::kDropByte, .after_samples = 1000}},
      {"duplicate_frame", {.kind = Upset::Kind::kDuplicateFrame, .after_samples = 1000}},
      {"swap_frames", {.kind = Upset::Kind::kSwapFrames, .after_samples = 1000}},
      {"truncate_frame", {.kind = Upset::Kind::kTruncateFrame, .after_samples = 1000}},
      {"slow_bytes",
       {.kind = Upset::Kind::kSlow, .after_samples = 1000, .for_ms = 5000, .bytes_per_s = 1000}},
      {"slow_bytes bytes_per_s 50 for_s 1.5 after 10",
       {.kind = Upset::Kind::kSlow, .after_samples = 10, .for_ms = 1500, .bytes_per_s = 50}},
      {"hang", {.kind = Upset::Kind::kHang, .after_samples = 1000, .for_ms = 5000}},
      {"hang for_s 2", {.kind = Upset::Kind::kHang, .after_samples = 1000, .for_ms = 2000}},
      {"reset_in_reply after 7", {.kind = Upset::Kind::kResetInReply, .after_samples = 7}},
      {"disconnect for_s 2", {.kind = Upset::Kind::kDisconnect, .after_samples = 1000, .for_ms = 2000}},
      {"disconnect for_s 2 device other",
       {.kind = Upset::Kind::kDisconnect,
        .after_samples = 1000,
        .for_ms = 2000,
        .replug = {.other_device = true, .link_path = {}}}},
      {"disconnect link other /tmp/elsewhere for_s 2",
       {.kind = Upset::Kind::kDisconnect,
        .after_samples = 1000,
        .for_ms = 2000,
        .replug = {.other_device = false, .link_path = "/tmp/elsewhere"}}}};
  for (const auto& [fault, upset] : wanted) {
    SCOPED_TRACE(fault);
    ask(fault);
    EXPECT_THAT(traverse().upsets, ElementsAre(upset));
  }
}

TEST_F(FaultsAskedFor, ALinkIntoAFolderThatIsNotThereIsRefused) {
  EXPECT_EQ(desk.answer("fault disconnect link other /nowhere/at/all/gauge"),
            "error the folder of the link '/nowhere/at/all/gauge' does not exist");
  EXPECT_EQ(bench.fault_count(), 0U);
}

TEST_F(FaultsAskedFor, OneInterruptionIsEnoughForATraverseAndTheOtherWaits) {
  ask("hang");
  ask("duplicate_frame");
  ask("disconnect for_s 1");
  EXPECT_EQ(traverse().upsets.size(), 2U);
  const TracedHeights next = traverse();
  ASSERT_EQ(next.upsets.size(), 1U);
  EXPECT_EQ(next.upsets[0].kind, Upset::Kind::kDisconnect);
}

TEST_F(FaultsAskedFor, ByteDamageLastsAsLongAsItsConditionsUnlessTraversesAreCounted) {
  ask("flip_bit probability 0.01 direction to_host zone 1");
  EXPECT_NEAR(bench.line_faults().to_host.flip_probability, 0.01, 1e-12);
  EXPECT_EQ(bench.line_faults().to_gauge.flip_probability, 0.0);
  ASSERT_TRUE(bench.choose_zone(2).has_value());
  EXPECT_EQ(bench.line_faults(), LineFaultSettings{});
  ask("clear");

  ask("duplicate_frame probability 0.5 times 2");
  EXPECT_EQ(bench.line_faults(), LineFaultSettings{}) << "no traverse has begun";
  for (int traverse_number = 1; traverse_number <= 2; ++traverse_number) {
    traverse();
    EXPECT_EQ(bench.line_faults().frames.duplicate_probability, 0.5);
  }
  traverse();
  EXPECT_EQ(bench.line_faults(), LineFaultSettings{});

  ask("drop_byte probability 0.1 times 1");
  traverse();
  EXPECT_NEAR(bench.line_faults().to_host.drop_probability, 0.1, 1e-12);
  ASSERT_TRUE(bench.remove().has_value());
  EXPECT_EQ(bench.line_faults(), LineFaultSettings{});
}

TEST_F(FaultsAskedFor, OverRangeStandsAtTheEndStopWhereItWasAsked) {
  ask("over_range after 500 samples 30");
  const TracedHeights hit = traverse();
  for (std::size_t i = 0; i < truth.size(); ++i) {
    EXPECT_EQ(hit.counts[i], i >= 500 && i < 530 ? base::kOverRangeCount : truth[i]);
  }
  EXPECT_EQ(hit.quality, kWireOverRange);
  ask("over_range noticed no");
  const TracedHeights hidden = traverse();
  EXPECT_EQ(std::count(hidden.counts.begin(), hidden.counts.end(), base::kOverRangeCount), 200);  // a tenth
  EXPECT_EQ(hidden.quality, 0);
}

TEST_F(FaultsAskedFor, AStuckStylusIsNotReported) {
  ask("stuck_stylus after 1200");
  const TracedHeights hit = traverse();
  EXPECT_TRUE(std::equal(truth.begin(), truth.begin() + 1200, hit.counts.begin()));
  EXPECT_EQ(std::count(hit.counts.begin() + 1200, hit.counts.end(), truth[1199]), 800);
  EXPECT_EQ(hit.quality, 0);
}

TEST_F(FaultsAskedFor, ALiftOffRaisesTheHeightsWhetherNoticedOrNot) {
  ask("lift_off after 800 samples 401 height_um 5");
  const TracedHeights hit = traverse();
  EXPECT_EQ(hit.quality, kWireStylusLifted);
  const double chord_um = 0.5 * kStepUm * (truth[800] + truth[1200]);
  EXPECT_NEAR(kStepUm * hit.counts[1000], chord_um + 5.0, 2.0 * kStepUm);
  for (std::size_t i = 0; i < truth.size(); ++i) {
    EXPECT_GE(hit.counts[i], truth[i]);
    if (i < 800 || i > 1200) {
      EXPECT_EQ(hit.counts[i], truth[i]);
    }
  }
  ask("lift_off after 800 samples 401 height_um 5 noticed no");
  const TracedHeights hidden = traverse();
  EXPECT_EQ(hidden.quality, 0);
  EXPECT_EQ(hidden.counts, hit.counts);
}

// Heights times 1 + n x / 100 in the n-th traverse; half a count of rounding.
TEST_F(FaultsAskedFor, GainDriftGrowsWithEachTraverse) {
  ask("gain_drift percent 2 times 3");
  for (int n = 1; n <= 4; ++n) {
    const TracedHeights hit = traverse();
    const double gain = n <= 3 ? 1.0 + 0.02 * n : 1.0;
    EXPECT_EQ(hit.quality, 0);
    for (std::size_t i = 0; i < truth.size(); ++i) ASSERT_NEAR(hit.counts[i], gain * truth[i], 1.1);
  }
}

TEST_F(FaultsAskedFor, GainDriftGrowsWithTheTimeTheStylusMoves) {
  ask("gain_drift percent 0 percent_per_s 3 times 2");
  for (int n = 0; n < 2; ++n) {
    const TracedHeights hit = traverse();
    for (std::size_t i = 0; i < truth.size(); ++i) {
      const double moved_s = 2.0 * n + 0.001 * static_cast<double>(i);
      ASSERT_NEAR(hit.counts[i], (1.0 + 0.03 * moved_s) * truth[i], 1.1);
    }
  }
}

// Fourier sum at the wavelength over whole waves: amplitude 0.4. What the surface holds there is in both.
TEST_F(FaultsAskedFor, VibrationIsASineOfItsAmplitudeAndWavelengthWhetherNoticedOrNot) {
  ask("vibration amplitude_um 0.4 wavelength_mm 0.1");
  const TracedHeights hit = traverse();
  EXPECT_EQ(hit.quality, kWireVibration);
  double cosine = 0.0, sine = 0.0, rest = 0.0;
  for (std::size_t i = 0; i < truth.size(); ++i) {
    const double added_um = kStepUm * (hit.counts[i] - truth[i]);
    const double turn = 2.0 * std::acos(-1.0) * static_cast<double>(i) / 200.0;
    cosine += added_um * std::cos(turn) / 1000.0;
    sine += added_um * std::sin(turn) / 1000.0;
    rest += added_um * added_um / 2000.0;
  }
  EXPECT_NEAR(std::hypot(cosine, sine), 0.4, 1e-4);
  EXPECT_NEAR(rest, 0.08, 1e-4);  // A^2 / 2: nothing but this sine
  ask("vibration amplitude_um 0.4 wavelength_mm 0.1 noticed no");
  const TracedHeights hidden = traverse();
  EXPECT_EQ(hidden.quality, 0);
  EXPECT_NE(hidden.counts, truth);
}

TEST_F(FaultsAskedFor, AStaleRepeatIsTheTraverseBeforeToTheLastCount) {
  ASSERT_TRUE(bench.choose_zone(2).has_value());
  ask("stale_repeat times 2");
  const TracedHeights first = traverse();
  EXPECT_EQ(first.counts, truth);  // zone 1's
  EXPECT_FALSE(first.under_previous_id);
  EXPECT_EQ(traverse().counts, truth);
  EXPECT_NE(traverse().counts, truth);
  ask("stale_repeat id old");
  EXPECT_TRUE(traverse().under_previous_id);
  EXPECT_FALSE(traverse().under_previous_id);
}

TEST(StaleRepeat, WaitsForATraverseThatHasOneBeforeIt) {
  Bench bench(*parse_scenario(kQuiet, "quiet.scenario"));
  ASSERT_TRUE(bench.place("P-1", std::nullopt).has_value());
  bench.add_fault(*parse_fault("stale_repeat", "test"));
  const std::vector<std::int32_t> first = bench.traverse(kOneMm).counts;
  ASSERT_TRUE(bench.remove().has_value());
  ASSERT_TRUE(bench.place("P-2", std::nullopt).has_value());
  EXPECT_EQ(bench.traverse(kOneMm).counts, first);
  EXPECT_NE(bench.traverse(kOneMm).counts, first);
}

// A longer traverse finds the memory of the shorter one at its beginning only.
TEST(StaleRepeat, OfAShorterTraverseIsFollowedByWhatWasMeasured) {
  Bench bench(*parse_scenario(kQuiet, "quiet.scenario"));
  ASSERT_TRUE(bench.place("P-1", std::nullopt).has_value());
  const std::vector<std::int32_t> whole = bench.traverse(kOneMm).counts;
  TraverseOrder half = kOneMm;
  half.length_um = 500;
  const std::vector<std::int32_t> shorter = bench.traverse(half).counts;
  bench.add_fault(*parse_fault("stale_repeat", "test"));
  const std::vector<std::int32_t> mixed = bench.traverse(kOneMm).counts;
  EXPECT_TRUE(std::equal(shorter.begin(), shorter.end(), mixed.begin()));
  EXPECT_TRUE(std::equal(whole.begin() + 1000, whole.end(), mixed.begin() + 1000));
}

}  // namespace
}  // namespace crestgate::simulator
