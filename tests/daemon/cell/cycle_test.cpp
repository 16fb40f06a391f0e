// SPDX-License-Identifier: Apache-2.0
// Rows of the table in daemon/cell/CYCLE.md: the way of a part, and requests that cannot be measured.

#include "daemon/cell/cycle/cycle.h"

#include <gtest/gtest.h>

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::CellState;
using base::Fate;
using base::Lamp;
using base::Reason;
using base::Verdict;

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

}  // namespace
}  // namespace crestgate::cell
