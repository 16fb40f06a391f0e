// SPDX-License-Identifier: Apache-2.0
// The drawn handshake is the real one: its PLC side is played to the cycle of daemon/cell, and at every instant the
// cycle must answer what is drawn.

#include "daemon/report/cabinet/handshake_timeline.h"

#include <functional>
#include <map>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/cycle_bench.h"
#include "daemon/report/markup/html_text.h"
#include "registers/register_words.h"

namespace crestgate::report {
namespace {

using Values = std::map<LineSignal, std::string>;

Values values_at(const HandshakeTimeline& timeline, int at) {
  Values values;
  for (const Transition& transition : timeline.transitions) {
    if (transition.at <= at) values[transition.signal] = transition.value;
  }
  return values;
}

std::string verdict_text(const base::CellSignal& signal, bool with_word) {
  if (!signal.result_valid) return "0";
  const auto index = signal.verdict == base::Verdict::kAccept   ? 0U
                     : signal.verdict == base::Verdict::kReject ? 1U
                                                                : 2U;
  return hex_word(registers::kVerdictWords[index].number) +
         (with_word ? " " + std::string(registers::kVerdictWords[index].name) : "");
}

// What the cell shows, as the drawing would put it.
std::string shown(LineSignal signal, const base::CellSignal& now) {
  const auto bit = [](bool set) { return std::string(set ? "1" : "0"); };
  switch (signal) {
    case LineSignal::kState:
      return std::string(registers::kStateWords[static_cast<std::size_t>(now.state) - 1].name);
    case LineSignal::kBusy:
      return bit(now.busy);
    case LineSignal::kZoneWanted:
      return std::to_string(now.zone_wanted);
    case LineSignal::kStylusClear:
      return bit(now.stylus_clear);
    case LineSignal::kResultValid:
      return bit(now.result_valid);
    case LineSignal::kVerdict:
      return verdict_text(now, now.verdict == base::Verdict::kNone);
    case LineSignal::kReason:
      return std::to_string(static_cast<unsigned>(now.reason));
    case LineSignal::kLamp:
      return now.lamp == base::Lamp::kGreen ? "ACCEPT" : now.lamp == base::Lamp::kDark ? "dark" : "other";
    default:
      return "";
  }
}

class Play {
 public:
  using World =
      std::map<int,
               std::function<void(cell::CycleBench&)>>;  // what gauge, ledger and analysis do, by instant

  explicit Play(const HandshakeTimeline& timeline) : timeline_(timeline) {
    bench_.plc({});
    bench_.gauge_comes();
  }

  void run(const World& world) {
    std::set<int> instants;
    for (const Transition& transition : timeline_.transitions) instants.insert(transition.at);
    for (const int at : instants) {
      if (world.contains(at)) world.at(at)(bench_);
      if (answers_at(at)) expect_drawn(at);
      if (!writes_at(at)) continue;
      if (at > 0) expect_drawn(at - 1);
      write(at);
    }
    expect_drawn(timeline_.end);
  }

 private:
  [[nodiscard]] bool changes_at(int at, bool from_plc) const {
    for (const Transition& transition : timeline_.transitions) {
      if (transition.at == at && row_of(transition.signal).from_plc == from_plc) return true;
    }
    return false;
  }
  [[nodiscard]] bool writes_at(int at) const { return changes_at(at, true); }
  [[nodiscard]] bool answers_at(int at) const { return at > 0 && changes_at(at, false); }

  void write(int at) {
    bench_.plc_changes([&](base::PlcInputs& inputs) {
      for (const Transition& transition : timeline_.transitions) {
        if (transition.at == at) set(inputs, transition);
      }
      if (!values_at(timeline_, at).contains(LineSignal::kIdentity)) identify(inputs, true);
    });
  }

  static void identify(base::PlcInputs& inputs, bool known) {
    inputs.recipe = known ? 12 : 0;
    inputs.identity = {};
    if (!known) return;
    inputs.identity.part_id = "ES-1";
    inputs.identity.stage = 2;
  }

  void set(base::PlcInputs& inputs, const Transition& transition) const {
    const auto number = [&transition] {
      return static_cast<std::uint16_t>(std::stoi(std::string(transition.value)));
    };
    switch (transition.signal) {
      case LineSignal::kIdentity:
        identify(inputs, !transition.value.empty());
        break;
      case LineSignal::kPartPresent:
        inputs.part_present = transition.value == "1";
        break;
      case LineSignal::kAbort:
        inputs.abort = transition.value == "1";
        break;
      case LineSignal::kRequestId:
        inputs.request_id = number();
        break;
      case LineSignal::kZoneInPosition:
        inputs.zone_in_position = number();
        break;
      case LineSignal::kAcknowledge:
        inputs.acknowledge = static_cast<std::uint16_t>(bench_.signal().sequence);
        break;
      default:
        break;
    }
  }

  void expect_drawn(int at) const {
    for (const auto& [signal, value] : values_at(timeline_, at)) {
      if (row_of(signal).from_plc) continue;
      EXPECT_EQ(shown(signal, bench_.signal()), value) << row_of(signal).label << " at " << at;
    }
  }

  const HandshakeTimeline& timeline_;
  cell::CycleBench bench_;
};

TEST(HandshakeTimeline, TheWholePartIsWhatTheCycleDoes) {
  Play(kWholePart)
      .run({{41,
             [](cell::CycleBench& bench) {
               for (int i = 0; i < 2; ++i) bench.traverse_comes();
               for (int i = 0; i < 2; ++i) bench.ledger_takes_traverse();
               bench.stylus_clears();
             }},
            {70,
             [](cell::CycleBench& bench) {
               bench.traverse_comes();
               bench.ledger_takes_traverse();
               bench.analysis_says(base::Verdict::kAccept, base::Reason::kAllWithinLimits);
               bench.ledger_takes_judgement();
             }},
            {74, [](cell::CycleBench& bench) { bench.stylus_clears(); }}});
}

TEST(HandshakeTimeline, TheAbortedPartIsWhatTheCycleDoes) {
  Play(kAbortedPart)
      .run({{46, [](cell::CycleBench& bench) { bench.ledger_takes_judgement(); }},
            {62, [](cell::CycleBench& bench) { bench.stylus_clears(); }},
            {85, [](cell::CycleBench& bench) { bench.pass_ms(cell::kTickMs); }}});
}

TEST(HandshakeTimeline, NothingMovesWhileTheStylusIsNotClear) {
  for (const HandshakeTimeline* timeline : {&kWholePart, &kAbortedPart}) {
    for (const Transition& transition : timeline->transitions) {
      if (transition.signal != LineSignal::kZoneInPosition || transition.at == 0) continue;
      EXPECT_EQ(values_at(*timeline, transition.at)[LineSignal::kStylusClear], "1") << transition.at;
    }
  }
}

TEST(HandshakeTimeline, GreenStandsOnlyOverAPresentPartWithItsRequestAndAValidResult) {
  for (int at = 0; at < kWholePart.end; ++at) {
    Values values = values_at(kWholePart, at);
    if (values[LineSignal::kLamp] != "ACCEPT") continue;
    EXPECT_EQ(values[LineSignal::kResultValid], "1") << at;
    EXPECT_EQ(values[LineSignal::kVerdict], "A5C3h") << at;
    if (at >= 90) continue;  // the part has left; dark with the cell's next answer
    EXPECT_EQ(values[LineSignal::kPartPresent], "1") << at;
    EXPECT_EQ(values[LineSignal::kRequestId], "17") << at;
  }
}

TEST(HandshakeTimeline, IdentityAndPartStandBeforeTheRequestAndUntilItIsOver) {
  for (int at = 0; at < kWholePart.end; ++at) {
    Values values = values_at(kWholePart, at);
    if (values[LineSignal::kRequestId] == "0") continue;
    EXPECT_EQ(values[LineSignal::kPartPresent], "1") << at;
    EXPECT_NE(values[LineSignal::kIdentity], "") << at;
  }
}

// Labels and places are those of the map, so that the drawing and the register table name the same things.
TEST(HandshakeTimeline, LabelsAndPlacesAreThoseOfTheRegisterMap) {
  const auto expect_field = [](LineSignal signal, const auto& fields, std::uint16_t address) {
    EXPECT_EQ(row_of(signal).label, field_at(fields, address).name);
    EXPECT_EQ(row_of(signal).where, "register " + std::to_string(address));
  };
  const auto expect_bit = [](LineSignal signal, const auto& bits, std::uint16_t mask, std::uint16_t address) {
    for (const registers::Bit& bit : bits) {
      if (bit.mask == mask) {
        EXPECT_EQ(row_of(signal).label, bit.name);
      }
    }
    EXPECT_EQ(row_of(signal).where,
              "register " + std::to_string(address) + ", bit " + std::to_string(registers::bit_number(mask)));
  };
  namespace plc = registers::plc;
  namespace cell_block = registers::cell;
  expect_field(LineSignal::kPlcHeartbeat, plc::kFields, plc::kHeartbeat);
  expect_field(LineSignal::kRequestId, plc::kFields, plc::kRequestId);
  expect_field(LineSignal::kZoneInPosition, plc::kFields, plc::kZoneInPosition);
  expect_field(LineSignal::kAcknowledge, plc::kFields, plc::kAcknowledge);
  expect_bit(LineSignal::kPartPresent, registers::kControlBits, plc::kPartPresentBit, plc::kControl);
  expect_bit(LineSignal::kAbort, registers::kControlBits, plc::kAbortBit, plc::kControl);
  expect_field(LineSignal::kCellHeartbeat, cell_block::kFields, cell_block::kHeartbeat);
  expect_field(LineSignal::kState, cell_block::kFields, cell_block::kState);
  expect_field(LineSignal::kZoneWanted, cell_block::kFields, cell_block::kZoneWanted);
  expect_field(LineSignal::kVerdict, cell_block::kFields, cell_block::kVerdict);
  expect_field(LineSignal::kReason, cell_block::kFields, cell_block::kReason);
  expect_bit(LineSignal::kBusy, registers::kFlagBits, cell_block::kBusyBit, cell_block::kFlags);
  expect_bit(LineSignal::kStylusClear, registers::kFlagBits, cell_block::kStylusClearBit, cell_block::kFlags);
  expect_bit(LineSignal::kResultValid, registers::kFlagBits, cell_block::kResultValidBit, cell_block::kFlags);
  EXPECT_EQ(row_of(LineSignal::kIdentity).where, "registers " + std::to_string(plc::kPartId) + ", " +
                                                     std::to_string(plc::kRecipe) + ", " +
                                                     std::to_string(plc::kStage));
}

}  // namespace
}  // namespace crestgate::report
