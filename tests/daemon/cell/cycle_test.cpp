// SPDX-License-Identifier: Apache-2.0
// Each row of the table in daemon/cell/CYCLE.md.

#include "daemon/cell/cycle/cycle.h"

#include <stdexcept>

#include <gtest/gtest.h>

#include "daemon/cell/cycle_bench.h"

namespace crestgate::cell {
namespace {

using base::CellState;
using base::Fate;
using base::Lamp;
using base::Reason;
using base::Verdict;

struct ReadyCycle : ::testing::Test {
  CycleBench bench;
  void SetUp() override {
    bench.plc({});
    bench.gauge_comes();
    ASSERT_TRUE(bench.signal().ready);
  }
  // The verdict none was decided for this reason, is recorded and shown, and nothing is green.
  void expect_none(Reason reason) {
    while (bench.asks<RecordTraverse>()) bench.ledger_takes_traverse();
    ASSERT_TRUE(bench.asks<RecordJudgement>());
    EXPECT_FALSE(bench.signal().result_valid) << "shown before it was recorded";
    bench.ledger_takes_judgement();
    EXPECT_EQ(bench.recorded().back().verdict, Verdict::kNone);
    EXPECT_EQ(bench.recorded().back().reason, reason) << base::text_of(bench.recorded().back().reason).name;
    EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
  }
  void expect_shown(Reason reason) {
    EXPECT_TRUE(bench.signal().result_valid);
    EXPECT_EQ(bench.signal().verdict, Verdict::kNone);
    EXPECT_EQ(bench.signal().reason, reason);
  }
};

TEST(Cycle, StartsDarkAndNotReady) {
  CycleBench bench;
  EXPECT_EQ(bench.signal().state, CellState::kStarting);
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_FALSE(bench.signal().ready);
  EXPECT_FALSE(bench.signal().stylus_clear);
}

TEST_F(ReadyCycle, AcceptIsGreenOnlyOnceItsJudgementIsDurable) {
  bench.request("ES-1");
  bench.to_the_last_traverse();
  EXPECT_FALSE(bench.asks<JudgePart>()) << "judged before the last traverse was durable";
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_FALSE(bench.signal().result_valid);
  bench.ledger_takes_judgement();
  const auto signal = bench.signal();
  EXPECT_EQ(signal.lamp, Lamp::kGreen);
  EXPECT_TRUE(signal.result_valid);
  EXPECT_EQ(signal.verdict, Verdict::kAccept);
  EXPECT_EQ(signal.fate, Fate::kPass);
  EXPECT_EQ(signal.part_id, "ES-1");
  EXPECT_EQ(signal.request_echo, 1);
  EXPECT_EQ(signal.sequence, 1U);
  EXPECT_EQ(signal.deciding_symbol, "Ra");
  EXPECT_EQ(signal.deciding_zone, 1);
  EXPECT_FALSE(signal.stylus_clear) << "the verdict does not wait for the stylus, the fixture does";
  bench.stylus_clears();
  EXPECT_TRUE(bench.signal().stylus_clear);
}

TEST_F(ReadyCycle, TheJudgementCitesEveryTraverseThePlanAndTheCell) {
  bench.measure("ES-1", Verdict::kAccept);
  const auto& cites = bench.recorded().back().cites;
  ASSERT_EQ(cites.size(), 5U);  // three traverses, plan 2, cell 1
  EXPECT_EQ(cites[3].record_number, 2U);
  EXPECT_EQ(cites[4].record_number, 1U);
}

TEST_F(ReadyCycle, RejectIsRedWithThePlansFate) {
  bench.measure("ES-1", Verdict::kReject);
  EXPECT_EQ(bench.signal().lamp, Lamp::kRed);
  EXPECT_EQ(bench.signal().fate, Fate::kRework);
}

TEST_F(ReadyCycle, ZonesAreWantedInOrderAndStylusClearFallsBeforeTheTraverse) {
  bench.request("ES-1");
  EXPECT_EQ(bench.signal().zone_wanted, 1);
  EXPECT_TRUE(bench.signal().stylus_clear);
  bench.zone(1);
  EXPECT_TRUE(bench.asks<StartTraverse>());
  EXPECT_FALSE(bench.signal().stylus_clear);
  EXPECT_EQ(bench.signal().zone_wanted, 0);
  bench.traverse_comes();
  bench.traverse_comes();
  EXPECT_FALSE(bench.signal().stylus_clear);
  EXPECT_EQ(bench.signal().zone_done, 1);
  EXPECT_EQ(bench.signal().zone_wanted, 0) << "nothing may be wanted while the stylus is down";
  bench.stylus_clears();
  EXPECT_EQ(bench.signal().zone_wanted, 2);
  EXPECT_TRUE(bench.signal().stylus_clear);
}

// ---- requests that cannot be measured ----

TEST_F(ReadyCycle, UnknownRecipeIsNone) {
  bench.plc_changes([](base::PlcInputs& in) {
    in.request_id = 5;
    in.recipe = 99;
    in.part_present = true;
  });
  expect_none(Reason::kUnknownRecipe);
  expect_shown(Reason::kUnknownRecipe);
  EXPECT_EQ(bench.signal().fate, Fate::kQuarantine);
}

TEST_F(ReadyCycle, MissingPartIdIsNoneWhenThePlanMinds) {
  bench.plc_changes([](base::PlcInputs& in) {
    in.request_id = 5;
    in.recipe = 12;
    in.part_present = true;
  });
  expect_none(Reason::kPartIdMissing);
  EXPECT_FALSE(bench.recorded().back().identity.part_id.has_value());
}

TEST_F(ReadyCycle, ContradictingStageIsNone) {
  bench.plc_changes([](base::PlcInputs& in) {
    in.request_id = 5;
    in.recipe = 12;
    in.part_present = true;
    in.identity.part_id = "ES-1";
    in.identity.stage = 1;
  });
  expect_none(Reason::kStageContradictsPlan);
}

TEST_F(ReadyCycle, RequestWithoutAPartIsNone) {
  bench.plc_changes([](base::PlcInputs& in) {
    in.request_id = 5;
    in.recipe = 12;
    in.identity.part_id = "ES-1";
  });
  expect_none(Reason::kPartLeft);
}

TEST_F(ReadyCycle, TheSameRequestIsMeasuredOnce) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc(bench.inputs());
  bench.pass_ms(1000);
  EXPECT_EQ(bench.recorded().size(), 1U);
  EXPECT_FALSE(bench.asks<StartTraverse>());
}

TEST_F(ReadyCycle, AttemptsAreCountedAndEndInQuarantine) {
  for (std::uint16_t attempt = 1; attempt <= 2; ++attempt) {
    bench.measure("ES-1", Verdict::kReject, attempt);
    EXPECT_EQ(bench.recorded().back().attempt, attempt);
    bench.plc({});
  }
  bench.request("ES-1", 3);
  expect_none(Reason::kAttemptsExhausted);
  EXPECT_EQ(bench.signal().fate, Fate::kQuarantine);
  bench.plc({});
  bench.request("ES-2", 4);
  EXPECT_EQ(bench.signal().attempt, 1) << "another part begins afresh";
}

TEST(Cycle, AttemptsSurviveARestartThroughTheBook) {
  PartBook book;
  base::Traverse traverse;
  traverse.identity.part_id = "ES-1";
  traverse.plan_stage = 2;
  traverse.attempt = 1;  // a crash came before its judgement
  book.note(traverse);
  CycleBench bench(book);
  bench.plc({});
  bench.gauge_comes();
  bench.request("ES-1");
  EXPECT_EQ(bench.signal().attempt, 2);
}

TEST_F(ReadyCycle, NothingIsCarriedOverFromThePartBefore) {
  bench.plc_changes([](base::PlcInputs& in) { in.identity.batch = "B-7"; });
  bench.plc_changes([](base::PlcInputs& in) {
    in.request_id = 1;
    in.recipe = 12;
    in.part_present = true;
    in.identity.part_id = "ES-1";
    in.identity.wheel = 9;
  });
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  bench.stylus_clears();
  EXPECT_EQ(bench.recorded().back().identity.batch, "B-7");
  bench.plc({});
  bench.measure("ES-2", Verdict::kAccept, 2);
  EXPECT_FALSE(bench.recorded().back().identity.batch.has_value());
  EXPECT_FALSE(bench.recorded().back().identity.wheel.has_value());
}

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

// ---- the result's end ----

TEST_F(ReadyCycle, GreenEndsWhenThePartLeavesAndTheLastVerdictStaysReadable) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_FALSE(bench.signal().result_valid);
  EXPECT_EQ(bench.signal().last.verdict, Verdict::kAccept);
  EXPECT_EQ(bench.signal().last.part_id, "ES-1");
  EXPECT_EQ(bench.signal().last.sequence, 1U);
}

TEST_F(ReadyCycle, GreenEndsWithTheRequest) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc_changes([](base::PlcInputs& in) { in.request_id = 0; });
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
}

TEST_F(ReadyCycle, GreenEndsWithoutAcknowledge) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.pass_ms(10'100);
  EXPECT_EQ(bench.signal().reason, Reason::kNotAcknowledged);
  EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
  EXPECT_NE(bench.signal().warnings & base::kWarnResultNotAcknowledged, 0);
}

TEST_F(ReadyCycle, AcknowledgedGreenStaysUntilItsTimeIsUp) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc_changes([](base::PlcInputs& in) { in.acknowledge = 1; });
  bench.pass_ms(100'000);
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  bench.pass_ms(21'000);
  EXPECT_EQ(bench.signal().reason, Reason::kResultExpired);
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
}

TEST_F(ReadyCycle, GreenEndsWhenThePlcFallsSilent) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.pass_ms(2100, false);
  EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
  EXPECT_FALSE(bench.signal().result_valid);
}

TEST_F(ReadyCycle, GreenEndsWhenTheLedgerFails) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.send(RecordingFailed{.ticket = 0, .reason = Reason::kLedgerWriteFailed, .detail = "io"});
  EXPECT_NE(bench.signal().lamp, Lamp::kGreen);
}

TEST_F(ReadyCycle, PartThatLeftWhileItsAcceptWasRecordedIsNeverGreen) {
  bench.request("ES-1");
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_FALSE(bench.signal().result_valid);
}

// ---- heartbeat and stop ----

TEST_F(ReadyCycle, HeartbeatMovesWithTimeOnly) {
  const auto before = bench.signal().heartbeat;
  bench.plc(bench.inputs());
  EXPECT_EQ(bench.signal().heartbeat, before);
  bench.pass_ms(1000);
  EXPECT_EQ(bench.signal().heartbeat, before + 5);
}

TEST_F(ReadyCycle, StopTakesGreenAwayAtOnce) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.send(StopAsked{});
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
  EXPECT_EQ(bench.signal().state, CellState::kStopping);
  EXPECT_EQ(bench.phase(), Phase::kStopped);
}

TEST_F(ReadyCycle, StopInTheMiddleRecordsNoneAndRetracts) {
  bench.request("ES-1");
  bench.zone(1);
  bench.send(StopAsked{});
  EXPECT_TRUE(bench.take<RetractStylus>().abort);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.recorded().back().reason, Reason::kStopping);
  EXPECT_NE(bench.phase(), Phase::kStopped) << "the stylus is still down";
  bench.send(StylusWent{.clear = true, .reason = Reason::kNone, .detail = ""});
  EXPECT_EQ(bench.phase(), Phase::kStopped);
}

}  // namespace
}  // namespace crestgate::cell
