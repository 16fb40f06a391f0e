// SPDX-License-Identifier: Apache-2.0
// Doubts that come late, go away again, or hide behind each other: none of them may end green.

#include <cstdint>

#include <gtest/gtest.h>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle_bench.h"

namespace crestgate::cell {
namespace {

using base::Lamp;
using base::Reason;
using base::Verdict;

struct RecordingAnAccept : ::testing::Test {
  CycleBench bench;
  void SetUp() override {
    bench.plc({});
    bench.gauge_comes();
    bench.request("ES-1");
    bench.to_the_last_traverse();
    bench.ledger_takes_traverse();
    bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
    ASSERT_EQ(bench.phase(), Phase::kRecording);
  }
  void expect_recorded_but_never_shown() {
    bench.ledger_takes_judgement();
    EXPECT_EQ(bench.recorded().back().verdict, Verdict::kAccept) << "what was decided stays decided";
    EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
    EXPECT_FALSE(bench.signal().result_valid);
    EXPECT_NE(bench.phase(), Phase::kResult);
  }
};

TEST_F(RecordingAnAccept, APartThatLeftAndCameBackIsAnotherPart) {
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = true; });
  expect_recorded_but_never_shown();
}

TEST_F(RecordingAnAccept, AnAbortCounts) {
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  expect_recorded_but_never_shown();
}

TEST_F(RecordingAnAccept, ARequestThatDippedCounts) {
  bench.plc_changes([](base::PlcInputs& in) { in.request_id = 0; });
  bench.plc_changes([](base::PlcInputs& in) { in.request_id = 1; });
  expect_recorded_but_never_shown();
}

TEST_F(RecordingAnAccept, ASilenceThatIsOverCounts) {
  bench.pass_ms(2100, false);
  bench.plc(bench.inputs());
  expect_recorded_but_never_shown();
}

TEST_F(RecordingAnAccept, WhatTheLineWasToldIsTheLastWordAlsoAfterARestart) {
  const auto accept = bench.take<RecordJudgement>();
  bench.pass_ms(5200);  // too slow: the line was told none
  EXPECT_EQ(bench.signal().verdict, Verdict::kNone);
  EXPECT_EQ(bench.signal().last.verdict, Verdict::kNone);
  bench.send(JudgementRecorded{.ticket = accept.ticket, .receipt = {.number = 20, .digest = {}}});
  const auto owed = bench.take<RecordJudgement>();  // the disk answers again: the none follows the accept
  EXPECT_EQ(owed.judgement.verdict, Verdict::kNone);
  EXPECT_EQ(owed.judgement.reason, Reason::kLedgerSlow);
  EXPECT_GT(owed.judgement.sequence, accept.judgement.sequence);
  PartBook read_back;  // what a restart would find
  read_back.note(accept.judgement);
  read_back.note(owed.judgement);
  EXPECT_EQ(read_back.last("ES-1").verdict, Verdict::kNone);
  EXPECT_EQ(read_back.last_sequence(), owed.judgement.sequence) << "its number is not used again";
}

TEST_F(RecordingAnAccept, AnOwedJudgementIsAskedForUntilItIsDurable) {
  const auto accept = bench.take<RecordJudgement>();
  bench.send(RecordingFailed{.ticket = accept.ticket, .reason = Reason::kLedgerNoSpace, .detail = "full"});
  bench.send(LedgerRecovered{});
  auto owed = bench.take<RecordJudgement>();
  bench.send(
      RecordingFailed{.ticket = owed.ticket, .reason = Reason::kLedgerNoSpace, .detail = "full again"});
  bench.send(LedgerRecovered{});
  owed = bench.take<RecordJudgement>();
  bench.send(JudgementRecorded{.ticket = owed.ticket, .receipt = {}});
  bench.send(LedgerRecovered{});
  EXPECT_FALSE(bench.asks<RecordJudgement>());
}

struct ShowingAnAccept : RecordingAnAccept {
  void SetUp() override {
    RecordingAnAccept::SetUp();
    bench.ledger_takes_judgement();
    bench.stylus_clears();
    ASSERT_EQ(bench.signal().lamp, Lamp::kGreen);
  }
};

TEST_F(ShowingAnAccept, AnotherPartIdTakesTheGreenAway) {
  bench.plc_changes([](base::PlcInputs& in) { in.identity.part_id = "ES-2"; });
  EXPECT_FALSE(bench.signal().result_valid);
  EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
  EXPECT_EQ(bench.signal().reason, Reason::kIdentityChanged);
}

TEST_F(ShowingAnAccept, AnAbortTakesTheGreenAway) {
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  EXPECT_FALSE(bench.signal().result_valid);
}

// The process was stopped for a while, and the first thing that it hears is a healthy PLC.
TEST_F(ShowingAnAccept, AWriteThatComesLateDoesNotHideTheSilenceBeforeIt) {
  bench.skip_ms(10'000);
  EXPECT_NE(bench.signal().lamp, Lamp::kGreen) << "not even before the first event";
  bench.plc(bench.inputs());
  EXPECT_FALSE(bench.signal().result_valid);
}

TEST_F(ShowingAnAccept, ASilenceThatIsOverNoLongerCallsForAnybody) {
  bench.pass_ms(2100, false);
  EXPECT_EQ(bench.signal().lamp, Lamp::kBlueFlashing);
  bench.plc(bench.inputs());
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_TRUE(bench.signal().ready);
}

struct Measuring : ::testing::Test {
  CycleBench bench;
  void SetUp() override {
    bench.plc({});
    bench.gauge_comes();
    bench.request("ES-1");
    bench.zone(1);
  }
  // Two traverses of the first zone, one of the second, all durable.
  void to_judging() {
    bench.traverse_comes();
    bench.traverse_comes();
    bench.ledger_takes_traverse();
    bench.ledger_takes_traverse();
    bench.stylus_clears();
    bench.zone(0);
    bench.zone(2);
    bench.traverse_comes();
    bench.ledger_takes_traverse();
  }
  void expect_none(Reason reason) {
    while (bench.asks<RecordTraverse>()) bench.ledger_takes_traverse();
    bench.ledger_takes_judgement();
    EXPECT_EQ(bench.recorded().back().reason, reason) << base::text_of(bench.recorded().back().reason).name;
  }
};

TEST_F(Measuring, AStylusThatIsSaidToBeUpDuringATraverseIsNotBelieved) {
  bench.send(StylusWent{.clear = true, .reason = Reason::kNone, .detail = "late"});
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  EXPECT_FALSE(bench.signal().stylus_clear);
}

TEST_F(Measuring, AGaugeThatNeverEndsItsTraverseIsGivenUp) {
  bench.pass_ms(53'000);  // 4 x 5.6 s + 30 s
  EXPECT_TRUE(bench.take<RetractStylus>().abort);
  expect_none(Reason::kGaugeSilent);
}

TEST_F(Measuring, AStylusThatNeverAnswersIsGivenUp) {
  bench.traverse_comes();
  bench.traverse_comes();
  bench.take<RetractStylus>();
  bench.pass_ms(21'000);
  expect_none(Reason::kGaugeSilent);
}

TEST_F(Measuring, AnAnalysisThatNeverAnswersIsGivenUp) {
  to_judging();
  ASSERT_EQ(bench.phase(), Phase::kJudging);
  bench.pass_ms(21'000);
  expect_none(Reason::kInternalError);
}

TEST_F(Measuring, ADecisionAboutAnEarlierPartIsNotThisOnes) {
  to_judging();
  const auto old = bench.take<JudgePart>();
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  expect_none(Reason::kAborted);
  bench.stylus_clears();
  bench.plc({});
  bench.request("ES-2", 2);
  bench.zone(1);
  to_judging();
  bench.send(PartJudged{.ticket = old.ticket,
                        .decision = CycleBench::decision(Verdict::kAccept, Reason::kAllWithinLimits)});
  EXPECT_EQ(bench.phase(), Phase::kJudging);
}

TEST_F(Measuring, TwoPassesAtTheEndStopAreOverRangeAndNotAMemory) {
  base::Heights heights;
  heights.quality = base::kQualityOverRange;
  heights.counts.assign(100, base::kOverRangeCount);
  for (int pass = 0; pass < 2; ++pass) {
    const auto action = bench.take<StartTraverse>();
    bench.send(TraverseCame{.ticket = action.ticket,
                            .heights = heights,
                            .started_utc = {},
                            .started_monotonic = {},
                            .finished_monotonic = {}});
  }
  EXPECT_EQ(bench.phase(), Phase::kRetracting);
}

TEST(Attempts, OnesThatThePlcClaimsAreNeitherBelievedBeyondThePlanNorRemembered) {
  CycleBench bench;
  bench.plc({});
  bench.gauge_comes();
  base::PlcInputs inputs;
  inputs.request_id = 1;
  inputs.recipe = 12;
  inputs.part_present = true;
  inputs.identity.part_id = "ES-1";
  inputs.attempt = 65535;
  bench.plc(inputs);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.recorded().back().reason, Reason::kAttemptsExhausted);
  EXPECT_EQ(bench.recorded().back().attempt, 1U);
  bench.plc({});
  bench.request("ES-1", 2);
  EXPECT_EQ(bench.signal().attempt, 1) << "nothing was measured";
}

TEST(Stopping, ARetractUnderWayIsNotAskedForTwice) {
  CycleBench bench;
  bench.plc({});
  bench.gauge_comes();
  bench.request("ES-1");
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.take<RetractStylus>();
  bench.send(StopAsked{});
  EXPECT_FALSE(bench.asks<RetractStylus>());
}

}  // namespace
}  // namespace crestgate::cell
