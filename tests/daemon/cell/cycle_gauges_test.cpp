// SPDX-License-Identifier: Apache-2.0
// Two gauges in one cell: each traverses its zones, and nothing moves unless both styluses are clear.

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::Lamp;
using base::Reason;
using base::Verdict;

CellDescription two_gauges() {
  CellDescription cell = two_zone_cell();
  cell.gauges.resize(2);
  cell.gauges[0].name = "near";
  cell.gauges[1].name = "far";
  cell.plans[0].gauge_of_zone = {0, 1};
  return cell;
}

struct TwoGauges : ::testing::Test {
  CycleBench bench{{}, two_gauges()};
  void SetUp() override {
    bench.plc({});
    bench.gauge_comes(true, 0);
    EXPECT_FALSE(bench.signal().ready) << "one is still missing";
    bench.gauge_comes(true, 1);
    ASSERT_TRUE(bench.signal().ready);
  }
};

TEST_F(TwoGauges, EachTraversesItsZones) {
  bench.request("ES-1");
  bench.zone(1);
  bench.traverse_comes();
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  bench.ledger_takes_traverse();
  EXPECT_FALSE(bench.signal().stylus_clear);
  bench.stylus_clears();
  bench.zone(2);
  const auto action = bench.take<StartTraverse>();
  EXPECT_EQ(action.gauge, 1U);
  bench.send(TraverseCame{.ticket = action.ticket,
                          .heights = {.counts = {5, 6, 7}},
                          .started_utc = {},
                          .started_monotonic = {},
                          .finished_monotonic = {}});
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  EXPECT_FALSE(bench.signal().stylus_clear);
  bench.stylus_clears();
  EXPECT_TRUE(bench.signal().stylus_clear);
}

TEST_F(TwoGauges, NothingMayMoveWhileEitherStylusIsDown) {
  bench.send(StylusSeenDown{.gauge = 1});
  EXPECT_FALSE(bench.signal().stylus_clear);
  EXPECT_EQ(bench.take<RetractStylus>().gauge, 1U);
}

TEST_F(TwoGauges, TheOneThatIsMissingIsNamedWithItsReason) {
  bench.send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = "far is gone", .gauge = 1});
  EXPECT_FALSE(bench.signal().gauge_online);
  EXPECT_FALSE(bench.signal().ready);
  EXPECT_NE(bench.signal().line.find("far is gone"), std::string::npos);
}

TEST_F(TwoGauges, TheSameHeightsFromTwoGaugesAreNoMemory) {
  bench.request("ES-1");
  bench.zone(1);
  bench.traverse_comes();
  const auto second = bench.take<StartTraverse>();
  base::Heights heights{.counts = {9, 9, 9}};
  const auto send = [&](Ticket ticket) {
    bench.send(TraverseCame{.ticket = ticket,
                            .heights = heights,
                            .started_utc = {},
                            .started_monotonic = {},
                            .finished_monotonic = {}});
  };
  send(second.ticket);
  bench.ledger_takes_traverse();
  bench.ledger_takes_traverse();
  bench.stylus_clears();
  bench.zone(2);
  send(bench.take<StartTraverse>().ticket);
  EXPECT_NE(bench.phase(), Phase::kRecording) << "a stale gauge was suspected";
  bench.ledger_takes_traverse();
  EXPECT_TRUE(bench.asks<JudgePart>());
}

}  // namespace
}  // namespace crestgate::cell
