// SPDX-License-Identifier: Apache-2.0
#pragma once
// What happens, in an order that nobody would write.

#include <algorithm>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "daemon/cell/answering_world.h"

namespace crestgate::cell {

class RandomWorld : public AnsweringWorld {
 public:
  explicit RandomWorld(std::uint64_t seed) : AnsweringWorld(seed) {}

  void step(int number) {
    step_ = std::max(step_ + 1, number);
    act();
    check();
  }

  // Everything is well again, and a part that nobody has seen comes: it must be accepted.
  void heal_and_measure(const std::string& part) {
    healing_ = true;
    if (model_.stopping) start(book_);
    base::PlcInputs leaving;
    leaving.part_present = true;
    set_plc(leaving);  // what was said of the part before leaves with it
    set_plc({});
    gauge_comes(true);
    send(LedgerRecovered{});
    send(BypassEnded{.who = "Ines"});
    model_.ledger_good = true;
    for (int i = 0; i < 200 && !signal().ready; ++i) {
      answer_everything_well();
      pass(kTickMs, true);
    }
    ASSERT_TRUE(signal().ready) << "reason " << base::text_of(signal().reason).name;
    base::PlcInputs inputs;
    inputs.request_id = static_cast<std::uint16_t>(40'000 + ++requests_);
    inputs.recipe = 12;
    inputs.part_present = true;
    inputs.identity.part_id = part;
    set_plc(inputs);
    for (int i = 0; i < 200 && !signal().result_valid; ++i) {
      inputs.zone_in_position = signal().zone_wanted != 0 ? signal().zone_wanted : inputs.zone_in_position;
      set_plc(inputs);
      answer_everything_well();
      pass(kTickMs, true);
    }
    EXPECT_EQ(signal().verdict, Verdict::kAccept) << base::text_of(signal().reason).name;
    EXPECT_EQ(signal().lamp, Lamp::kGreen);
    check();
  }

 private:
  void act() {
    switch (pick(19)) {
      case 0:
        change([&](base::PlcInputs& in) { in.request_id = static_cast<std::uint16_t>(pick(4)); });
        break;
      case 1:
        change([&](base::PlcInputs& in) { in.part_present = pick(4) != 0; });
        break;
      case 2:
        change([&](base::PlcInputs& in) { in.identity.part_id = "ES-" + std::to_string(pick(50)); });
        break;
      case 3:
        change([&](base::PlcInputs& in) { in.abort = pick(5) == 0; });
        break;
      case 4:
        change([&](base::PlcInputs& in) { in.recipe = pick(8) == 0 ? 99 : 12; });
        break;
      case 5:
      case 6:
        change([&](base::PlcInputs& in) {
          in.zone_in_position =
              static_cast<std::uint16_t>(signal().zone_wanted != 0 ? signal().zone_wanted : pick(3));
        });
        break;
      case 7:
        change([&](base::PlcInputs& in) { in.acknowledge = static_cast<std::uint16_t>(signal().sequence); });
        break;
      case 8:
        pass(pick(30) == 0 ? 3000 : 50 * (1 + pick(10)), pick(12) != 0);
        break;
      case 9:
        fault();
        break;
      case 10:
        a_good_part();
        break;
      case 11:
        dip();
        break;
      case 12:
        stall();
        break;
      case 13:
        a_good_part();
        pick(2) == 0 ? dip() : stall();
        break;
      case 14:
        people();
        break;
      case 15:
        resumed_part();
        break;
      default:
        answer_one();
        break;
    }
  }

  // Whatever people may ask for, at whatever moment.
  void people() {
    switch (pick(6)) {
      case 0: {
        const std::string name = "ES-" + std::to_string(pick(50));
        if (cycle_->phase() == Phase::kIdle) model_.named = name;
        base::PartIdentity identity;
        identity.part_id = name;
        send(PartAnnounced{.identity = identity, .source = "the scanner"});
        break;
      }
      case 1:
        send(BypassAsked{.who = "Ines", .minutes = 1});
        break;
      case 2:
        send(BypassEnded{.who = "Ines"});
        break;
      case 3:
        send(PlansOffered{.cell = std::make_shared<CellDescription>(cell_), .receipts = receipts()});
        break;
      case 4:
        change([&](base::PlcInputs& in) {
          in.request_id = 0;
          in.manual_trigger = !in.manual_trigger;
        });
        break;
      default:
        change([&](base::PlcInputs& in) {
          in.bypass = !in.bypass;
          in.operator_name = "Tomas";
          in.bypass_minutes = 2;
        });
        break;
    }
  }

  // Aborted somewhere, and asked for again; now and then something happened in between.
  void resumed_part() {
    a_good_part(1 + pick(7));
    change([](base::PlcInputs& in) { in.abort = true; });
    for (int i = 4 + pick(8); i > 0; --i) answer_one();
    change([](base::PlcInputs& in) {
      in.abort = false;
      in.request_id = 0;
    });
    for (int i = pick(4); i > 0; --i) answer_one();
    switch (pick(6)) {
      case 0:
        dip();
        break;
      case 1:
        gauge_comes(true);
        break;
      case 2:
        gauge_goes();
        gauge_comes(true);
        break;
      default:
        break;
    }
    change([&](base::PlcInputs& in) {
      in.request_id = static_cast<std::uint16_t>(31'000 + ++requests_ % 9000);
    });
    answer_rounds(4 + pick(20));
  }

  void fault() {
    switch (pick(6)) {
      case 0:
        gauge_goes();
        break;
      case 1:
        gauge_comes(pick(3) != 0);
        break;
      case 2:
        send(RecordingFailed{.ticket = kNobodysTicket, .reason = Reason::kLedgerNoSpace, .detail = ""});
        break;
      case 3:
        model_.ledger_good = true;
        send(LedgerRecovered{});
        break;
      case 4:
        if (pick(10) == 0) {
          model_.stopping = true;
          send(StopAsked{});
        }
        break;
      default:
        if (pick(5) == 0 || cycle_->stopped()) start(book_);  // killed, or stopped before
        break;
    }
  }

  // Something goes away and comes back between two looks at the block.
  void dip() {
    const base::PlcInputs before = model_.plc;
    switch (pick(4)) {
      case 0:
        change([](base::PlcInputs& in) { in.part_present = false; });
        break;
      case 1:
        change([](base::PlcInputs& in) { in.request_id = 0; });
        break;
      case 2:
        change([](base::PlcInputs& in) { in.abort = true; });
        break;
      default:
        change([](base::PlcInputs& in) { in.identity.part_id = "another"; });
        break;
    }
    set_plc(before);
    for (int i = pick(4); i > 0; --i) answer_one();
  }

  // The process is stopped for a while; the first thing that it hears then is anything.
  void stall() {
    now_.monotonic.ns += (1 + pick(4)) * 1000 * base::kNsPerMs;
    pick(2) == 0 ? set_plc(model_.plc) : answer_one();
    for (int i = pick(4); i > 0; --i) answer_one();
  }

  // Random order alone would hardly ever bring a part to its end.
  void a_good_part() { a_good_part(4 + pick(14)); }
  void a_good_part(int rounds) {
    if (pick(4) != 0) send(BypassEnded{.who = "Ines"});
    if (!model_.gauge_online) gauge_comes(true);
    base::PlcInputs inputs = model_.plc;
    inputs.request_id = static_cast<std::uint16_t>(100 + ++requests_ % 30'000);
    inputs.recipe = 12;
    inputs.part_present = true;
    inputs.abort = false;
    inputs.identity.part_id = "ES-" + std::to_string(1000 + requests_);
    set_plc(inputs);
    answer_rounds(rounds);
  }

  void answer_rounds(int rounds) {
    for (int i = 0; i < rounds; ++i) {
      if (signal().zone_wanted != 0)
        change([&](base::PlcInputs& in) { in.zone_in_position = signal().zone_wanted; });
      answer_one();
      answer_one();
    }
  }
};

}  // namespace crestgate::cell
