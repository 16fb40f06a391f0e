// SPDX-License-Identifier: Apache-2.0
// Rows of the table in daemon/cell/CYCLE.md: how a result ends, heartbeat and stop.

#include <gtest/gtest.h>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::CellState;
using base::Lamp;
using base::Reason;
using base::Verdict;

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

TEST_F(ReadyCycle, AnOldAcknowledgeAnswersNoNewResult) {
  bench.plc_changes([](base::PlcInputs& in) { in.acknowledge = 1; });  // as a new ledger numbers from 1 again
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc_changes([](base::PlcInputs& in) { in.acknowledge = 1; });
  bench.pass_ms(10'100);
  EXPECT_EQ(bench.signal().reason, Reason::kNotAcknowledged);
}

}  // namespace
}  // namespace crestgate::cell
