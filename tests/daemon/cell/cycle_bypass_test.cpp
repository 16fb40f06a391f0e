// SPDX-License-Identifier: Apache-2.0
// A gauge that is down does not stop the line, and nothing it did not measure is ever green.

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::Fate;
using base::Lamp;
using base::Reason;
using base::Verdict;

CellDescription bypassable() {
  CellDescription cell = two_zone_cell();
  cell.bypass = {.allowed = true, .longest_minutes = 60, .fate = Fate::kPassUnmeasured};
  return cell;
}

struct BypassableCycle : ReadyCycle {
  BypassableCycle() : ReadyCycle(bypassable()) {}
  void plc_bypass(bool on, const std::string& who = "Tomas", std::uint16_t minutes = 30) {
    bench.plc_changes([&](base::PlcInputs& in) {
      in.bypass = on;
      in.operator_name = who;
      in.bypass_minutes = minutes;
    });
  }
  void expect_refused() {
    EXPECT_FALSE(bench.signal().bypass_active);
    EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0);
  }
};

TEST_F(BypassableCycle, AnswersEachPartWithNoneWhileItLastsAndNeverGreen) {
  bench.send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = ""});
  bench.send(BypassAsked{.who = "Ines", .minutes = 10});
  EXPECT_EQ(bench.signal().state, base::CellState::kBypass);
  EXPECT_TRUE(bench.signal().ready) << "requests are answered although the gauge is down";
  bench.request("ES-1");
  expect_none(Reason::kBypassed);
  expect_shown(Reason::kBypassed);
  EXPECT_EQ(bench.signal().fate, Fate::kPassUnmeasured);
  EXPECT_TRUE(bench.signal().bypass_active);
  EXPECT_EQ(bench.recorded().back().attempt, 0U) << "not measured: no attempt";
  EXPECT_NE(bench.recorded().back().detail.find("Ines"), std::string::npos)
      << "who is recorded with each part";
}

TEST_F(BypassableCycle, EndsWhenItsTimeIsUp) {
  bench.send(BypassAsked{.who = "Ines", .minutes = 1});
  bench.pass_ms(59'000);
  EXPECT_TRUE(bench.signal().bypass_active);
  bench.pass_ms(1'100);
  EXPECT_FALSE(bench.signal().bypass_active);
  EXPECT_EQ(bench.noted().back(), "bypass_ended");
}

TEST_F(BypassableCycle, OfThePlcLastsAsLongAsItsBitStands) {
  plc_bypass(true);
  EXPECT_TRUE(bench.signal().bypass_active);
  plc_bypass(false);
  EXPECT_FALSE(bench.signal().bypass_active);
  EXPECT_EQ(bench.noted(), (std::vector<std::string>{"gauge_online", "bypass_began", "bypass_ended"}));
}

TEST_F(BypassableCycle, NeedsANameAndATime) {
  plc_bypass(true, "");
  expect_refused();
  plc_bypass(false);
  plc_bypass(true, "Tomas", 0);
  expect_refused();
  plc_bypass(false);
  plc_bypass(true, "Tomas", 61);
  expect_refused();
}

TEST_F(BypassableCycle, IsRefusedWhileAPartIsInWork) {
  bench.request("ES-1");
  plc_bypass(true);
  expect_refused();
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen) << "the part was measured";
}

TEST_F(BypassableCycle, ASecondOneIsRefusedWhileTheFirstLasts) {
  bench.send(BypassAsked{.who = "Ines", .minutes = 10});
  EXPECT_TRUE(bench.cycle().refusal(BypassAsked{.who = "Tomas", .minutes = 10}).has_value());
}

TEST_F(BypassableCycle, ABitThatStoodBeforeTheCellStartedAsksForNothing) {
  CycleBench fresh({}, bypassable());
  base::PlcInputs inputs;
  inputs.bypass = true;
  inputs.operator_name = "Tomas";
  inputs.bypass_minutes = 30;
  fresh.plc(inputs);
  fresh.gauge_comes();
  EXPECT_FALSE(fresh.signal().bypass_active);
}

TEST_F(BypassableCycle, EndsWithADescriptionThatAllowsNone) {
  bench.send(BypassAsked{.who = "Ines", .minutes = 10});
  DescriptionReceipts receipts;
  receipts.plans.push_back({});
  bench.send(PlansOffered{.cell = std::make_shared<CellDescription>(two_zone_cell()), .receipts = receipts});
  EXPECT_FALSE(bench.signal().bypass_active);
}

TEST_F(ReadyCycle, ACellThatAllowsNoBypassRefusesIt) {
  bench.send(BypassAsked{.who = "Ines", .minutes = 10});
  EXPECT_FALSE(bench.signal().bypass_active);
  EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0);
}

}  // namespace
}  // namespace crestgate::cell
