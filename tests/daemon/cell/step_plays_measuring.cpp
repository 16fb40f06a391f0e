// SPDX-License-Identifier: Apache-2.0
// Rows about zones, styluses, results and the PLC's heartbeat.

#include "daemon/cell/step_plays.h"

namespace crestgate::cell {
namespace {

using base::PlcInputs;
using base::Reason;
using base::Verdict;

void add_zones(Plays& plays) {
  const auto waits_for_its_zone = [](std::uint16_t shown) {
    return [=](Stage& s) {
      s.ask();
      s.bench.zone(shown);
      EXPECT_FALSE(s.bench.asks<StartTraverse>());
      s.bench.pass_ms(30'100);
      s.expect_none(Reason::kZoneNotInPosition);
    };
  };
  plays["zone_late"] = waits_for_its_zone(0);
  plays["zone_wrong"] = waits_for_its_zone(2);
  plays["zone_repeated"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.traverse_comes();
    s.bench.traverse_comes();
    s.bench.ledger_takes_traverse();
    s.bench.ledger_takes_traverse();
    s.bench.stylus_clears();
    EXPECT_FALSE(s.bench.asks<StartTraverse>()) << "zone 1 still stands there";
    s.bench.pass_ms(30'100);
    s.expect_none(Reason::kZoneNotInPosition);
  };
  plays["zone_lost"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.zone(0);
    EXPECT_TRUE(s.bench.take<RetractStylus>().abort);
    s.expect_none(Reason::kZoneNotInPosition);
  };
}

void add_stylus(Plays& plays) {
  plays["stylus_clear_late"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.traverse_comes();
    s.bench.traverse_comes();
    EXPECT_EQ(s.bench.signal().zone_wanted, 0);
    EXPECT_FALSE(s.bench.signal().stylus_clear);
    s.bench.stylus_clears();
    EXPECT_EQ(s.bench.signal().zone_wanted, 2);
  };
  plays["stylus_clear_late_idle"] = [](Stage& s) {
    s.bench.send(StylusSeenDown{});
    s.ask();
    EXPECT_EQ(s.bench.phase(), Phase::kIdle);
    EXPECT_EQ(s.bench.signal().state, base::CellState::kMeasuring);
    EXPECT_EQ(s.bench.signal().reason, Reason::kStylusNotClear);
    s.bench.stylus_clears();
    EXPECT_EQ(s.bench.phase(), Phase::kPositioning);
  };
  plays["stylus_seen_down"] = [](Stage& s) {
    s.bench.send(StylusSeenDown{});
    EXPECT_FALSE(s.bench.signal().stylus_clear);
    EXPECT_EQ(s.bench.signal().reason, Reason::kStylusNotClear);
    EXPECT_TRUE(s.bench.asks<RetractStylus>());
  };
  plays["stylus_of_several"] = [](Stage& /*one*/) {
    CellDescription two = played_cell();
    two.gauges.resize(2);
    CycleBench bench({}, two);
    bench.plc({});
    bench.gauge_comes(true, 0);
    bench.gauge_comes(false, 1);
    EXPECT_FALSE(bench.signal().stylus_clear);
    bench.stylus_clears();
    EXPECT_TRUE(bench.signal().stylus_clear);
  };
  plays["stylus_stays_down"] = [](Stage& s) {
    s.bench.send(StylusSeenDown{});
    s.bench.take<RetractStylus>();
    s.bench.send(StylusWent{.clear = false, .reason = Reason::kGaugeSilent, .detail = ""});
    EXPECT_EQ(s.bench.signal().state, base::CellState::kFault);
    EXPECT_EQ(s.bench.signal().reason, Reason::kGaugeFault);
    s.ask();
    EXPECT_EQ(s.bench.phase(), Phase::kIdle);
    s.bench.pass_ms(2100);
    EXPECT_TRUE(s.bench.asks<RetractStylus>()) << "asked again";
  };
  plays["stylus_unknown"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = ""});
    EXPECT_FALSE(s.bench.signal().stylus_clear);
    s.expect_none(Reason::kGaugeDisconnected);
  };
}

void add_results(Plays& plays) {
  plays["result_expired"] = [](Stage& s) {
    s.measure();
    s.plc([&](PlcInputs& in) { in.acknowledge = static_cast<std::uint16_t>(s.bench.signal().sequence); });
    s.bench.pass_ms(119'000);
    s.expect_green();
    s.bench.pass_ms(1'100);
    s.expect_withdrawn(Reason::kResultExpired);
  };
  plays["result_unrecorded"] = [](Stage& s) {
    s.ask();
    s.bench.to_the_last_traverse();
    s.bench.ledger_takes_traverse();
    s.bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
    s.bench.pass_ms(5'100);
    EXPECT_EQ(s.bench.signal().reason, Reason::kLedgerSlow);
    s.bench.ledger_takes_judgement();  // the accept, late
    s.expect_not_green();
  };
  plays["acknowledge_repeated"] = [](Stage& s) {
    s.measure();
    s.plc([&](PlcInputs& in) { in.acknowledge = static_cast<std::uint16_t>(s.bench.signal().sequence); });
    s.plc([](PlcInputs& /*in*/) {});
    s.bench.pass_ms(20'000);
    s.expect_green();
  };
  plays["acknowledge_wrong"] = [](Stage& s) {
    s.measure();
    s.plc([&](PlcInputs& in) { in.acknowledge = static_cast<std::uint16_t>(s.bench.signal().sequence + 1); });
    s.expect_green();
    s.bench.pass_ms(10'100);
    s.expect_withdrawn(Reason::kNotAcknowledged);
  };
  plays["acknowledge_missing"] = [](Stage& s) {
    s.measure();
    s.bench.pass_ms(10'100);
    s.expect_withdrawn(Reason::kNotAcknowledged);
    EXPECT_NE(s.bench.signal().warnings & base::kWarnResultNotAcknowledged, 0);
    EXPECT_EQ(s.bench.signal().last.verdict, Verdict::kAccept);
  };
}

void add_aborts(Plays& plays) {
  plays["abort_late"] = [](Stage& s) {
    s.measure();
    s.plc([](PlcInputs& in) { in.abort = true; });
    s.expect_withdrawn(Reason::kAborted);
  };
  plays["abort_stands"] = [](Stage& s) {
    for (std::uint16_t request = 1; request < 4; ++request) {
      s.plc([&](PlcInputs& in) {
        in.abort = true;
        in.part_present = true;
        in.recipe = 12;
        in.request_id = request;
        in.identity.part_id = "ES-1";
      });
      s.bench.pass_ms(kTickMs);
      s.expect_none(Reason::kAborted);
      s.plc([](PlcInputs& in) { in.request_id = 0; });
    }
  };
  plays["abort_with_request"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.abort = true;
      in.part_present = true;
      in.recipe = 12;
      in.request_id = 1;
      in.zone_in_position = 1;
      in.identity.part_id = "ES-1";
    });
    s.bench.pass_ms(kTickMs);
    EXPECT_FALSE(s.bench.asks<StartTraverse>());
    s.expect_none(Reason::kAborted);
  };
  plays["abort_resumed"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.traverse_comes();
    s.bench.ledger_takes_traverse();
    s.plc([](PlcInputs& in) { in.abort = true; });
    s.expect_none(Reason::kAborted);
    s.bench.take<StartTraverse>();
    s.bench.stylus_clears();
    s.plc([](PlcInputs& in) {
      in.abort = false;
      in.request_id = 0;
    });
    s.ask(2);
    EXPECT_EQ(s.bench.signal().attempt, 1);
    s.bench.zone(1);
    s.bench.traverse_comes();
    EXPECT_EQ(s.bench.take<RecordTraverse>().traverse->traverse_number, 2U);
  };
}

void add_plc_heartbeat(Plays& plays) {
  plays["plc_silent_measuring"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.bench.pass_ms(2100, false);
    EXPECT_TRUE(s.bench.take<RetractStylus>().abort);
    s.expect_none(Reason::kPlcSilent);
    EXPECT_NE(s.bench.signal().warnings & base::kWarnPlcHeartbeatMissing, 0);
  };
  plays["plc_silent_result"] = [](Stage& s) {
    s.measure();
    s.bench.pass_ms(2100, false);
    s.expect_withdrawn(Reason::kPlcSilent);
    s.bench.pass_ms(1000);
    s.expect_not_green();
  };
  plays["plc_heartbeat_repeated"] = [](Stage& s) {
    s.measure();
    for (int i = 0; i < 50; ++i) {
      s.bench.skip_ms(50);
      s.bench.send(PlcChanged{s.bench.inputs()});  // writes, and the heartbeat in them stands still
    }
    s.expect_withdrawn(Reason::kPlcSilent);
  };
  plays["plc_heartbeat_alone"] = [](Stage& s) {
    s.measure();
    s.plc([&](PlcInputs& in) { in.acknowledge = static_cast<std::uint16_t>(s.bench.signal().sequence); });
    s.bench.pass_ms(20'000);  // a driver that beats by itself
    s.expect_green();
  };
  plays["plc_heartbeat_missing"] = [](Stage& /*ready*/) {
    CycleBench bench({}, played_cell());
    bench.gauge_comes();
    bench.pass_ms(3000, false);
    EXPECT_EQ(bench.signal().state, base::CellState::kFault);
    EXPECT_EQ(bench.signal().reason, Reason::kPlcSilent);
    bench.request("ES-1");
    EXPECT_EQ(bench.signal().state, base::CellState::kReady) << "its first word is a beat";
    EXPECT_EQ(bench.phase(), Phase::kIdle) << "and asks for nothing: it may be old";
    bench.plc_changes([](PlcInputs& in) { in.request_id = 2; });
    EXPECT_EQ(bench.phase(), Phase::kPositioning);
  };
  plays["connection_lost"] = plays["plc_silent_measuring"];  // no write, no beat: the cycle sees nothing else
}

}  // namespace

void add_measuring_plays(Plays& plays) {
  add_zones(plays);
  add_stylus(plays);
  add_results(plays);
  add_aborts(plays);
  add_plc_heartbeat(plays);
}

}  // namespace crestgate::cell
