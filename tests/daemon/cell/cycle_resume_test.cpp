// SPDX-License-Identifier: Apache-2.0
// A measurement that was aborted goes on where it stopped, as the same attempt, if its part has not moved.

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::Lamp;
using base::Reason;
using base::Verdict;

struct AbortedCycle : ReadyCycle {
  // Zone 1 is half done: one of its two traverses is in.
  void SetUp() override {
    ReadyCycle::SetUp();
    bench.request("ES-1");
    bench.zone(1);
    bench.traverse_comes();
    bench.ledger_takes_traverse();
    bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
    expect_none(Reason::kAborted);
    bench.take<StartTraverse>();
    bench.stylus_clears();
  }
  void ask_again(std::uint16_t request = 2, const std::string& part = "ES-1") {
    bench.plc_changes([](base::PlcInputs& in) {
      in.abort = false;
      in.request_id = 0;
    });
    bench.request(part, request);
  }
  void expect_begun_anew(std::uint16_t attempt) {
    EXPECT_EQ(bench.phase(), Phase::kPositioning);
    EXPECT_EQ(bench.signal().attempt, attempt);
    bench.zone(1);
    bench.traverse_comes();
    EXPECT_EQ(bench.take<RecordTraverse>().traverse->traverse_number, 1U);
  }
};

TEST_F(AbortedCycle, GoesOnWithTheNextTraverseAndIsTheSameAttempt) {
  ask_again();
  EXPECT_EQ(bench.signal().attempt, 1);
  bench.zone(1);
  bench.traverse_comes();
  const auto recorded = bench.take<RecordTraverse>();
  EXPECT_EQ(recorded.traverse->traverse_number, 2U);
  EXPECT_EQ(recorded.traverse->attempt, 1U);
  bench.send(TraverseRecorded{.ticket = recorded.ticket, .receipt = {.number = 50, .digest = {}}});
  bench.stylus_clears();
  bench.zone(2);
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  EXPECT_EQ(bench.take<JudgePart>().traverses.size(), 3U)
      << "what was measured before the abort stays evidence";
}

TEST_F(AbortedCycle, CitesTheTraversesFromBeforeTheAbort) {
  ask_again();
  bench.zone(1);
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  bench.stylus_clears();
  bench.zone(2);
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  EXPECT_EQ(bench.recorded().back().cites.size(), 5U) << "three traverses, plan and cell";
  EXPECT_EQ(bench.recorded().back().cites.front().record_number,
            bench.recorded().front().cites.front().record_number);
}

TEST_F(AbortedCycle, BeginsAnewWhenThePartMoved) {
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  ask_again();
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, BeginsAnewWhenAnotherPartIsNamed) {
  ask_again(2, "ES-2");
  expect_begun_anew(1);
}

TEST_F(AbortedCycle, BeginsAnewWhenTheGaugeWasAway) {
  bench.send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = ""});
  bench.gauge_comes();
  ask_again();
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, BeginsAnewWhenItTookTooLong) {
  bench.plc_changes([](base::PlcInputs& in) {
    in.abort = false;
    in.request_id = 0;
  });
  bench.pass_ms(601'000);
  bench.request("ES-1", 2);
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, BeginsAnewWhenThePlcWasSilent) {
  bench.pass_ms(3000, false);
  ask_again();
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, BeginsAnewWhenTheStylusWasSeenDown) {
  bench.send(StylusSeenDown{});
  bench.stylus_clears();
  ask_again();
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, BeginsAnewUnderOtherPlans) {
  DescriptionReceipts receipts;
  receipts.plans.push_back({});
  bench.send(PlansOffered{.cell = std::make_shared<CellDescription>(two_zone_cell()), .receipts = receipts});
  ask_again();
  expect_begun_anew(2);
}

TEST_F(AbortedCycle, IsAbortedAgainAndResumedAgain) {
  ask_again();
  bench.plc_changes([](base::PlcInputs& in) { in.request_id = 0; });
  expect_none(Reason::kAborted);
  bench.request("ES-1", 3);
  EXPECT_EQ(bench.signal().attempt, 1);
  bench.zone(1);
  bench.traverse_comes();
  EXPECT_EQ(bench.take<RecordTraverse>().traverse->traverse_number, 2U);
}

TEST_F(ReadyCycle, AbortedWhenOnlyTheJudgingWasMissingIsJudgedWithoutATraverse) {
  bench.request("ES-1");
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.take<JudgePart>();
  bench.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  expect_none(Reason::kAborted);
  bench.stylus_clears();
  bench.plc_changes([](base::PlcInputs& in) {
    in.abort = false;
    in.request_id = 0;
  });
  bench.request("ES-1", 2);
  EXPECT_EQ(bench.phase(), Phase::kJudging);
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
}

}  // namespace
}  // namespace crestgate::cell
