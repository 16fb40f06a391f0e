// SPDX-License-Identifier: Apache-2.0
// Rows of the table in daemon/cell/CYCLE.md: interruptions, and a ledger that fails.

#include <gtest/gtest.h>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::CellState;
using base::Lamp;
using base::Reason;
using base::Verdict;

// ---- interruptions ----

TEST_F(ReadyCycle, InterruptionsInEveryMeasuringPhaseEndInNone) {
  struct Interruption {
    Reason reason;
    void (*act)(CycleBench&);
  };
  const Interruption interruptions[] = {
      {Reason::kAborted, [](CycleBench& b) { b.plc_changes([](base::PlcInputs& in) { in.abort = true; }); }},
      {Reason::kAborted,
       [](CycleBench& b) { b.plc_changes([](base::PlcInputs& in) { in.request_id = 0; }); }},
      {Reason::kRequestWhileBusy,
       [](CycleBench& b) { b.plc_changes([](base::PlcInputs& in) { in.request_id = 777; }); }},
      {Reason::kPartLeft,
       [](CycleBench& b) { b.plc_changes([](base::PlcInputs& in) { in.part_present = false; }); }},
      {Reason::kPlcSilent, [](CycleBench& b) { b.pass_ms(2100, false); }},
  };
  const auto to_phase = [](CycleBench& b, Phase phase) {
    b.request("ES-1");
    if (phase == Phase::kPositioning) return;
    b.zone(1);
    if (phase == Phase::kTraversing) return;
    b.traverse_comes();
    b.traverse_comes();
    if (phase == Phase::kRetracting) return;
    b.ledger_takes_traverse();
    b.ledger_takes_traverse();
    b.stylus_clears();
    b.zone(0);
    b.zone(2);
    b.traverse_comes();
    if (phase == Phase::kSettling) return;
    b.ledger_takes_traverse();
  };
  for (const Phase phase :
       {Phase::kPositioning, Phase::kTraversing, Phase::kRetracting, Phase::kSettling, Phase::kJudging}) {
    for (const Interruption& interruption : interruptions) {
      CycleBench fresh;
      fresh.plc({});
      fresh.gauge_comes();
      to_phase(fresh, phase);
      ASSERT_EQ(fresh.phase(), phase);
      interruption.act(fresh);
      if (phase == Phase::kTraversing) {
        EXPECT_TRUE(fresh.take<RetractStylus>().abort) << "the stylus must come up";
      }
      while (fresh.asks<RecordTraverse>()) fresh.ledger_takes_traverse();
      fresh.ledger_takes_judgement();
      EXPECT_EQ(fresh.recorded().back().reason, interruption.reason);
      EXPECT_EQ(fresh.recorded().back().verdict, Verdict::kNone);
      if (fresh.asks<JudgePart>()) {  // a late answer of analysis changes nothing
        fresh.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
      }
      EXPECT_NE(fresh.signal().lamp, Lamp::kGreen);
      EXPECT_NE(fresh.signal().verdict, Verdict::kAccept);
    }
  }
}

TEST_F(ReadyCycle, TheAnswerToAnAbortStaysToBeReadWhileTheAbortStands) {
  bench.request("ES-1");
  bench.zone(1);
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  expect_none(Reason::kAborted);
  expect_shown(Reason::kAborted);
  bench.pass_ms(500);
  expect_shown(Reason::kAborted);
}

TEST_F(ReadyCycle, MovingTheZoneUnderTheStylusAborts) {
  bench.request("ES-1");
  bench.zone(1);
  bench.zone(0);
  EXPECT_TRUE(bench.take<RetractStylus>().abort);
  expect_none(Reason::kZoneNotInPosition);
}

TEST_F(ReadyCycle, AZoneThatDoesNotComeTimesOut) {
  bench.request("ES-1");
  bench.pass_ms(30'100);
  expect_none(Reason::kZoneNotInPosition);
}

TEST_F(ReadyCycle, AFailedTraverseRetractsAndIsNone) {
  bench.request("ES-1");
  bench.zone(1);
  const auto action = bench.take<StartTraverse>();
  bench.send(
      TraverseFailed{.ticket = action.ticket, .reason = Reason::kGaugeStopped, .detail = "at sample 17"});
  EXPECT_TRUE(bench.asks<RetractStylus>());
  expect_none(Reason::kGaugeStopped);
  EXPECT_EQ(bench.signal().lamp, Lamp::kBlueFlashing);
}

TEST_F(ReadyCycle, ATraverseThatRepeatsTheOneBeforeIsKeptAndIsNone) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc({});
  bench.request("ES-2", 2);
  bench.zone(1);
  base::Heights heights;
  heights.counts = {7, 8, 9};
  for (const Reason expected : {Reason::kNone, Reason::kGaugeStale}) {
    const auto action = bench.take<StartTraverse>();
    bench.send(TraverseCame{.ticket = action.ticket,
                            .heights = heights,
                            .started_utc = {},
                            .started_monotonic = {},
                            .finished_monotonic = {}});
    EXPECT_EQ(bench.asks<RetractStylus>(), expected == Reason::kGaugeStale);
  }
  expect_none(Reason::kGaugeStale);
  EXPECT_EQ(bench.recorded().back().cites.size(), 4U) << "both traverses, plan and cell";
}

TEST_F(ReadyCycle, AnAnswerToAnEarlierPartChangesNothing) {
  bench.request("ES-1");
  bench.zone(1);
  const auto old = bench.take<StartTraverse>();
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  bench.ledger_takes_judgement();
  bench.stylus_clears();
  bench.plc({});
  bench.request("ES-2", 2);
  bench.zone(1);
  base::Heights heights;
  heights.counts = {9, 9, 9};
  bench.send(TraverseCame{.ticket = old.ticket,
                          .heights = heights,
                          .started_utc = {},
                          .started_monotonic = {},
                          .finished_monotonic = {}});
  EXPECT_FALSE(bench.asks<RecordTraverse>());
  EXPECT_EQ(bench.phase(), Phase::kTraversing);
}

TEST_F(ReadyCycle, ALostGaugeEndsThePartAndTheCellRecoversByItself) {
  bench.request("ES-1");
  bench.zone(1);
  bench.send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = "unplugged"});
  EXPECT_FALSE(bench.signal().stylus_clear) << "nobody knows where the stylus is";
  expect_none(Reason::kGaugeDisconnected);
  bench.plc({});
  EXPECT_EQ(bench.signal().state, CellState::kFault);
  EXPECT_EQ(bench.signal().reason, Reason::kGaugeDisconnected);
  bench.gauge_comes();
  EXPECT_TRUE(bench.signal().ready);
}

TEST_F(ReadyCycle, AStylusThatDoesNotComeClearBlocksAndIsAskedAgain) {
  bench.request("ES-1");
  bench.zone(1);
  bench.traverse_comes();
  bench.traverse_comes();
  bench.take<RetractStylus>();
  bench.send(StylusWent{.clear = false, .reason = Reason::kGaugeSilent, .detail = "no answer"});
  expect_none(Reason::kGaugeSilent);
  bench.plc({});
  EXPECT_FALSE(bench.signal().ready);
  bench.pass_ms(2100);
  bench.stylus_clears();
  EXPECT_TRUE(bench.signal().ready);
}

TEST_F(ReadyCycle, GaugeThatComesWithItsStylusDownIsRetractedFirst) {
  bench.send(GaugeWent{});
  bench.gauge_comes(false);
  EXPECT_FALSE(bench.signal().ready);
  bench.stylus_clears();
  EXPECT_TRUE(bench.signal().ready);
}

// ---- the ledger ----

TEST_F(ReadyCycle, ALedgerThatFailsUnderAnAcceptIsNone) {
  bench.request("ES-1");
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  const auto action = bench.take<RecordJudgement>();
  bench.send(
      RecordingFailed{.ticket = action.ticket, .reason = Reason::kLedgerNoSpace, .detail = "disk full"});
  expect_shown(Reason::kLedgerNoSpace);
  EXPECT_NE(bench.signal().sequence, action.judgement.sequence);
  EXPECT_EQ(bench.signal().last.verdict, Verdict::kNone);
  bench.stylus_clears();
  bench.plc({});
  EXPECT_EQ(bench.signal().state, CellState::kFault);
  bench.send(LedgerRecovered{});
  EXPECT_TRUE(bench.signal().ready);
}

TEST_F(ReadyCycle, ALedgerThatFailsATraverseIsNone) {
  bench.request("ES-1");
  bench.zone(1);
  bench.traverse_comes();
  const auto action = bench.take<RecordTraverse>();
  bench.send(RecordingFailed{.ticket = action.ticket, .reason = Reason::kLedgerWriteFailed, .detail = "io"});
  const auto judgement = bench.take<RecordJudgement>();
  bench.send(
      RecordingFailed{.ticket = judgement.ticket, .reason = Reason::kLedgerWriteFailed, .detail = "io"});
  expect_shown(Reason::kLedgerWriteFailed);
}

TEST_F(ReadyCycle, ALedgerThatDoesNotAnswerIsNoneAndALateAcceptIsNotShown) {
  bench.request("ES-1");
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  const auto action = bench.take<RecordJudgement>();
  bench.pass_ms(5200);
  expect_shown(Reason::kLedgerSlow);
  bench.send(JudgementRecorded{.ticket = action.ticket, .receipt = {}});
  EXPECT_EQ(bench.signal().verdict, Verdict::kNone);
  EXPECT_TRUE(bench.signal().ledger_healthy);
}

}  // namespace
}  // namespace crestgate::cell
