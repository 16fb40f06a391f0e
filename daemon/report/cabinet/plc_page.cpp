// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/plc_page.h"

#include <cmath>
#include <cstdint>

#include "daemon/report/cabinet/handshake_timeline.h"
#include "daemon/report/cabinet/register_tables.h"
#include "daemon/report/cabinet/seconds_text.h"
#include "daemon/report/cabinet/timing_diagram.h"
#include "daemon/report/markup/html_text.h"
#include "registers/register_map.h"
#include "registers/register_words.h"

namespace crestgate::report {
namespace {

constexpr std::string_view kStyle = R"css(
.pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,26rem),1fr));gap:0 1.4em;align-items:start}
.pair>*{min-width:0}
figcaption{font-size:.95em;margin-top:.3em}
.fact tbody th{width:17rem}
@media screen{.draw svg{min-width:60rem}.registers,.faults,.plans,.steps{min-width:52rem}}
@media print{
.pair{grid-template-columns:1fr 1fr}
h1{font-size:16pt}
.fact tbody th{width:60mm}
.registers{font-size:8.3pt;line-height:1.2}
.registers th,.registers td{padding:.09em .35em}
.faults td,.faults th{padding:.1em .35em}
.faults .step{width:21mm}
.faults .test,.faults .reason{font-size:8pt;width:35mm}
.draw figcaption{margin-top:1.5mm}
}
)css";

std::string number_text(double value) {
  std::string text = std::to_string(value);
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text;
}

std::string fate_word(base::Fate fate) {
  for (const registers::NumberedWord& word : registers::kFateWords) {
    if (word.number == static_cast<std::uint16_t>(fate)) return escaped(word.name);
  }
  return "?";
}

std::string wide(const std::string& markup, std::string_view label) {
  return "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"" + escaped(label) + "\">\n" +
         markup + "</div>\n";
}

// ---- this cell ----

std::string connection_table(const cell::CellDescription& cell) {
  const auto last_register = [](unsigned first, unsigned count) {
    return std::to_string(first) + " to " + std::to_string(first + count - 1);
  };
  HtmlTable table("Connection and times of this cell", "fact", {{"fact", ""}, {"value", ""}});
  const bool polled = cell.plc.role == cell::ModbusRole::kServer;
  table.row({polled ? "Modbus TCP, the PLC polls" : "Modbus TCP, the PLC is polled at",
             "<b>" + escaped(cell.plc.address) + "</b>, port <b>" + std::to_string(cell.plc.port) +
                 "</b>, unit <b>" + std::to_string(cell.plc.unit) + "</b>"});
  if (polled) {
    table.row({"read, in one request", "function 4, input registers " +
                                           last_register(0, registers::cell::kSize) +
                                           "; or function 3, holding registers " +
                                           last_register(registers::kMirrorBase, registers::cell::kSize)});
    table.row({"write, in one request", "function 16, holding registers " +
                                            last_register(0, registers::plc::kSize) +
                                            "; function 23 writes, then reads"});
  } else {
    table.row({"the cell writes its block", "function 16, holding registers " +
                                                last_register(cell.plc.cell_block, registers::cell::kSize) +
                                                " of the PLC"});
    table.row({"the cell reads the PLC's block",
               "function 3, holding registers " + last_register(cell.plc.plc_block, registers::plc::kSize) +
                   " of the PLC"});
  }
  table.row({"plc_heartbeat", cell.plc.heartbeat_required
                                  ? "required; unchanged for <b>" +
                                        seconds_text(cell.plc.heartbeat_timeout_ms) + "</b> is a silent PLC"
                                  : "<b>ignored</b>: this cell does not watch its PLC"});
  table.row({"zone wanted to zone in position",
             "at most <b>" + seconds_text(cell.timing.zone_timeout_ms) + "</b>"});
  table.row(
      {"result to acknowledge", "at most <b>" + seconds_text(cell.timing.acknowledge_timeout_ms) + "</b>"});
  table.row({"green", "at most <b>" + seconds_text(cell.timing.green_limit_ms) + "</b>"});
  table.row({"resumed after an abort", "within <b>" + seconds_text(cell.timing.resume_limit_ms) + "</b>"});
  for (const cell::GaugeDescription& gauge : cell.gauges) {
    const std::string name = gauge.name.empty() ? "" : "<b>" + escaped(gauge.name) + "</b>, ";
    table.row({"gauge", name + escaped(gauge.kind) + ", serial number " + escaped(gauge.serial_number)});
  }
  return table.markup();
}

std::string zones_text(const cell::PlanDescription& plan) {
  std::string list = "<ol>";
  for (std::size_t i = 0; i < plan.traverses.size(); ++i) {
    const auto& zone = plan.part_plan.zones[i];
    const cell::ZoneTraverse& traverse = plan.traverses[i];
    const double seconds = zone.traverses * traverse.length_mm / traverse.speed_mm_per_s;
    list += "<li><b>" + escaped(zone.name) + "</b>: " + std::to_string(zone.traverses) + " x " +
            number_text(traverse.length_mm) + " mm, " + number_text(std::ceil(seconds * 10.0) / 10.0) +
            " s</li>";
  }
  return list + "</ol>";
}

std::string plan_table(const cell::CellDescription& cell) {
  HtmlTable table("Plans of this cell: the zones are wanted in this order", "plans",
                  {{"recipe", "num"},
                   {"stage", "num"},
                   {"plan", ""},
                   {"zones: traverses, length, time of the stylus", ""},
                   {"part_id", ""},
                   {"attempts", "num"},
                   {"fate after reject", ""},
                   {"fate after none", ""}});
  for (const cell::RecipePlan& entry : cell.plans) {
    const cell::PlanDescription& plan = entry.plan;
    table.row({"<b>" + std::to_string(entry.recipe) + "</b>",
               "<b>" + std::to_string(plan.stage_number) + "</b> " + escaped(plan.stage_name),
               escaped(plan.name) + (plan.part.empty() ? "" : ", " + escaped(plan.part)), zones_text(plan),
               plan.part_id_required ? "required" : "may be empty", std::to_string(plan.attempts_allowed),
               fate_word(plan.on_reject), fate_word(plan.on_none)});
  }
  return table.markup();
}

std::string in_short(const cell::CellDescription& cell) {
  const bool polled = cell.plc.role == cell::ModbusRole::kServer;
  std::string text = polled ? "<p>The PLC polls, the cell answers. "
                            : "<p>The cell writes into the PLC and reads from it, every 100 ms. ";
  text +=
      "A result is tied to its request by number: the PLC chooses a new <b>request_id</b> for each "
      "measurement, the cell repeats it in <b>request_echo</b>. The cell ends every wait by itself; the PLC "
      "needs "
      "no other watchdog than the one on <b>heartbeat</b>.</p>\n";
  if (!polled) {
    text +=
        "<p><b>Here the cell is the client.</b> There is no connection that could close: <b>heartbeat</b> "
        "alone tells "
        "that the cell lives. What the PLC changes for less than 200 ms may go unseen, part present too. The "
        "exceptions, and what is said of another address, do not apply.</p>\n";
  }
  if (!cell.plc.heartbeat_required) {
    text +=
        "<p><b>Here the PLC's heartbeat is ignored.</b> A PLC that is silent or gone is not noticed: rows "
        "with "
        "reason 402 do not apply, a green then lasts up to its time limit, and nothing is resumed after an "
        "abort.</p>\n";
  }
  return text + "<p>Modbus has no passwords: this port belongs on the machine's own network.</p>\n";
}

std::string pair(const std::string& left, const std::string& right) {
  return "<div class=\"pair\">\n<div>\n" + left + "</div>\n<div>\n" + right + "</div>\n</div>\n";
}

// A section that begins a new sheet of paper. Its heading may hold nothing but text.
std::string sheet(std::string_view id, std::string_view heading, const std::string& content) {
  const std::string name(id);
  return "<section class=\"sheet\" aria-labelledby=\"" + name + "\">\n<h2 id=\"" + name + "\">" +
         escaped(heading) + "</h2>\n" + content + "</section>\n";
}

std::string first_sheet(const cell::CellDescription& cell, const PageStamp& stamp) {
  return page_head("The PLC's side", cell.name, stamp) + "<main>\n" +
         pair(accept_rule(), caution() + in_short(cell)) +
         "<section aria-labelledby=\"wiring\">\n<h2 id=\"wiring\">The wiring of this cell</h2>\n" +
         wide(connection_table(cell), "Connection and times") + wide(plan_table(cell), "Plans") +
         "</section>\n";
}

// ---- the handshake ----

constexpr std::string_view kDiagramNote =
    "Time runs to the right, to no scale. The numbers are those of the steps. Registers are counted from 0 "
    "in the PLC's "
    "and in the cell's own block.";

std::string diagram(const HandshakeTimeline& timeline, const cell::CellDescription& cell, std::string_view id,
                    std::string_view note) {
  return "<figure class=\"draw\">\n" + wide(timing_diagram(timeline, cell, id), timeline.title) +
         "<figcaption>" + escaped(note) + "</figcaption>\n</figure>\n";
}

std::string handshake_sheets(const cell::CellDescription& cell) {
  return sheet("whole", kWholePart.title, diagram(kWholePart, cell, "whole-drawing", kDiagramNote)) +
         sheet(
             "abort", kAbortedPart.title,
             diagram(kAbortedPart, cell, "abort-drawing",
                     std::string(kDiagramNote) + " Both heartbeats go on; the lamp is dark all the time.")) +
         sheet("steps", "The steps of both drawings",
               wide(step_table(kWholePart, cell), kWholePart.title) +
                   wide(step_table(kAbortedPart, cell), kAbortedPart.title));
}

// ---- registers ----

std::string register_sheets() {
  const std::string words_left = wide(flag_bit_table(), "Bits of flags") +
                                 wide(control_bit_table(), "Bits of control") +
                                 wide(verdict_table(), "Words of verdict");
  const std::string words_right = wide(warning_bit_table(), "Bits of warnings") +
                                  wide(state_table(), "Words of state") + wide(fate_table(), "Words of fate");
  return sheet("plc-registers", "Registers, map version " + std::to_string(registers::kMapVersion),
               "<p>Addresses are the 0-based ones of the protocol data unit; references are the 1-based "
               "numbers with the "
               "table digit in front that many PLC tools show.</p>\n" +
                   wide(plc_register_table(), "Registers that the PLC writes") +
                   pair(wide(test_pattern_table(), "Test pattern"), wide(exception_table(), "Exceptions"))) +
         sheet("cell-registers", "What the cell answers",
               wide(cell_register_table(), "Registers that the cell answers")) +
         sheet("words", "Bits and words", pair(words_left, words_right));
}

std::string fault_sheets() {
  return sheet(
             "faults", "When a step goes wrong",
             "<p>None is a verdict with a reason: it goes into the ledger and is never green. It stands as a "
             "result "
             "while request and part stand; after that it is read from last_verdict and last_reason.</p>\n" +
                 wide(step_fault_table(), "Late, repeated, contradictory and missing steps")) +
         "</main>\n";
}

}  // namespace

std::string plc_page(const cell::CellDescription& cell, const PageStamp& stamp) {
  return framed(
      {.title = "The PLC's side of " + cell.name, .orientation = Orientation::kLandscape, .style = kStyle},
      first_sheet(cell, stamp) + handshake_sheets(cell) + register_sheets() + fault_sheets());
}

}  // namespace crestgate::report
