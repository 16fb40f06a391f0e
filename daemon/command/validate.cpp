// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstdio>
#include <optional>
#include <span>
#include <string>
#include <utility>

#include <nlohmann/json.hpp>

#include "analysis/text/number_text.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/config/document.h"
#include "daemon/cell/config/output_description.h"
#include "daemon/cell/config/texture_description.h"
#include "daemon/command/commands.h"
#include "daemon/command/run_parts.h"
#include "daemon/command/settings_text.h"
#include "daemon/report/cabinet/plc_page.h"
#include "daemon/report/cabinet/reason_card.h"
#include "driver/signal/modbus/register_page.h"

namespace crestgate::command {
namespace {

using analysis::shortest;

std::string limit_text(const base::Limit& limit) {
  std::string text = limit.symbol;
  if (limit.lower) text += " at least " + shortest(*limit.lower);
  if (limit.lower && limit.upper) text += " and";
  if (limit.upper) text += " at most " + shortest(*limit.upper);
  if (!limit.unit.empty()) text += " " + limit.unit;
  static constexpr const char* kRules[] = {"", "Tmax: every value", "T16%: at most 16 % of the values beyond",
                                           "Tmed: the median"};
  return text + " (" + kRules[static_cast<int>(limit.rule)] + ")";
}

// Of a part that the sampling passes over, as plans write it.
const char* fate_text(base::Fate fate) {
  return fate == base::Fate::kPassUnmeasured ? "pass unmeasured" : "quarantine";
}

std::string identity_text(const analysis::IdentityBands& bands) {
  std::string text;
  const auto add = [&text](const char* what, const std::optional<analysis::Band>& band) {
    if (!band) return;
    text += (text.empty() ? "" : ", ") + std::string(what) + " " + shortest(band->lowest) + " to " +
            shortest(band->highest) + " mm";
  };
  add("fitted radius", bands.radius_mm);
  add("face length", bands.face_length_mm);
  return text;
}

void print_ways(const cell::PlanDescription& plan) {
  std::string files;
  for (const std::string& file : plan.made_of) files += (files.empty() ? "" : " and its family ") + file;
  if (!files.empty()) std::printf("  made of %s\n", files.c_str());
  if (plan.sampling.every == 1) return;
  std::printf("  sampling: one part in %u%s", plan.sampling.every,
              plan.sampling.after_dress ? ", the first one after a dress" : "");
  if (plan.sampling.after_reject > 0)
    std::printf(", the next %u after a reject or none", plan.sampling.after_reject);
  std::printf("; the others: %s\n", fate_text(plan.on_not_sampled));
}

nlohmann::ordered_json identity_json(const analysis::IdentityBands& bands) {
  nlohmann::ordered_json shown = nlohmann::ordered_json::object();
  const auto add = [&shown](const char* key, const std::optional<analysis::Band>& band) {
    if (band) shown[key] = nlohmann::ordered_json::array({band->lowest, band->highest});
  };
  add("radius_mm", bands.radius_mm);
  add("face_length_mm", bands.face_length_mm);
  return shown;
}

void print_plan(const cell::CellDescription& cell, const cell::RecipePlan& entry) {
  const cell::PlanDescription& plan = entry.plan;
  std::printf("recipe %d: plan '%s', %s, stage %d (%s), part id %s, %u attempts allowed\n", entry.recipe,
              plan.name.c_str(), plan.part.c_str(), plan.stage_number, plan.stage_name.c_str(),
              plan.part_id_required ? "required" : "optional", plan.attempts_allowed);
  print_ways(plan);
  for (std::size_t i = 0; i < plan.traverses.size(); ++i) {
    const auto& zone = plan.part_plan.zones[i];
    const auto& traverse = plan.traverses[i];
    std::printf("  zone %zu '%s': %u x %s mm at %s um, %s mm/s; %s, %d sections, %s, form %s\n", i + 1,
                zone.name.c_str(), zone.traverses, shortest(traverse.length_mm).c_str(),
                shortest(traverse.spacing_mm * 1000.0).c_str(), shortest(traverse.speed_mm_per_s).c_str(),
                lengths_text(zone.settings).c_str(), zone.settings.sections,
                std::string(cell::name_of(zone.settings.filter)).c_str(),
                form_text(zone.settings.form).c_str());
    if (cell.gauges.size() > 1) {
      const auto& gauge = cell.gauges[entry.gauge_for(static_cast<std::uint32_t>(i))];
      std::printf("    gauge '%s'\n", gauge.name.c_str());
    }
    if (zone.identity.are_asked()) {
      std::printf("    identity: %s, else no judgement\n", identity_text(zone.identity).c_str());
    }
    for (const base::Limit& limit : zone.limits) std::printf("    %s\n", limit_text(limit).c_str());
  }
}

// What falls a green when the program dies, in words for whoever signs the cell off.
std::string fall_text(const cell::OutputDescription& output) {
  switch (output.falls_by) {
    case cell::FallsBy::kGuard:
      return "; an accept falls within 0.5 s by the guard";
    case cell::FallsBy::kPulses:
      return "; an accept is pulsed, for a watchdog relay";
    case cell::FallsBy::kOwnWatchdog:
      return "; an accept falls by the device's own watchdog";
    case cell::FallsBy::kNothing:
      break;
  }
  return "";
}

std::string place_text(const cell::OutputDescription& output) {
  switch (output.kind) {
    case cell::OutputKind::kTerminal:
      return " on standard output (its last line stays when the program dies)";
    case cell::OutputKind::kGpio:
      return " on digital lines of " + output.gpio.chip;
    case cell::OutputKind::kRelay:
      return " on " + output.port + ", " + output.dialect.name;
    case cell::OutputKind::kCoils:
      return " on coils from " + std::to_string(output.first_coil) + " of " + output.address + " port " +
             std::to_string(output.tcp_port);
    case cell::OutputKind::kRegisters:
      return " into holding registers from " + std::to_string(output.cell_block) + " of " + output.address +
             " port " + std::to_string(output.tcp_port);
  }
  return "";
}

void print_output(const cell::OutputDescription& output) {
  std::printf("output '%s'%s%s\n", output.name.c_str(), place_text(output).c_str(),
              fall_text(output).c_str());
  for (std::size_t i = 0; i < output.lights.size(); ++i) {
    const driver::Light& light = output.lights[i];
    const std::string line =
        output.kind == cell::OutputKind::kGpio ? ", line " + output.gpio.lines[i].line : "";
    std::printf("  light %zu '%s': %s%s%s\n", i + 1, light.label.c_str(),
                std::string(driver::name_of(light.shows)).c_str(), light.flashing ? ", flashing" : "",
                line.c_str());
  }
}

void print_text(const cell::CellDescription& cell) {
  std::printf("cell '%s'\n", cell::on_one_line(cell.name).c_str());
  std::printf("ledger %s\n", cell.ledger.c_str());
  for (const auto& gauge : cell.gauges) {
    std::printf("gauge %s%s%s, kind %s, serial number %s\n", gauge.name.c_str(),
                gauge.name.empty() ? "" : ": ", gauge.port.c_str(), gauge.kind.c_str(),
                gauge.serial_number.c_str());
  }
  const bool polled = cell.plc.role == cell::ModbusRole::kServer;
  std::printf("PLC   Modbus TCP %s %s port %d, unit %d, heartbeat %s\n", polled ? "on" : "client, the PLC is",
              cell.plc.address.c_str(), cell.plc.port, cell.plc.unit,
              cell.plc.heartbeat_required ? "required" : "ignored");
  if (cell.scanner) {
    std::printf("scanner %s, label %s\n", cell.scanner->port.c_str(), cell.scanner->label.text().c_str());
  }
  if (cell.bypass.allowed) std::printf("bypass up to %u minutes\n", cell.bypass.longest_minutes);
  for (const auto& output : cell.outputs) print_output(output);
  for (const auto& entry : cell.plans) print_plan(cell, entry);
  std::printf(
      "lamp of a terminal: green accept, red reject, flashing blue somebody must act, dark no verdict\n");
}

nlohmann::ordered_json plc_json(const cell::PlcDescription& plc) {
  return {{"modbus", plc.role == cell::ModbusRole::kServer ? "server" : "client"},
          {"address", plc.address},
          {"port", plc.port},
          {"unit", plc.unit},
          {"heartbeat_required", plc.heartbeat_required},
          {"heartbeat_timeout_ms", plc.heartbeat_timeout_ms}};
}

nlohmann::ordered_json outputs_json(const cell::CellDescription& cell) {
  nlohmann::ordered_json outputs = nlohmann::ordered_json::array();
  for (const cell::OutputDescription& output : cell.outputs) {
    nlohmann::ordered_json lights = nlohmann::ordered_json::array();
    for (const driver::Light& light : output.lights) {
      lights.push_back(
          {{"label", light.label}, {"shows", driver::name_of(light.shows)}, {"flashing", light.flashing}});
    }
    outputs.push_back({{"name", output.name},
                       {"kind", cell::name_of(output.kind)},
                       {"falls_by", cell::name_of(output.falls_by)},
                       {"lights", std::move(lights)}});
  }
  return outputs;
}

nlohmann::ordered_json gauges_json(const cell::CellDescription& cell) {
  nlohmann::ordered_json gauges = nlohmann::ordered_json::array();
  for (const auto& gauge : cell.gauges) {
    gauges.push_back({{"name", gauge.name},
                      {"kind", gauge.kind},
                      {"port", gauge.port},
                      {"serial_number", gauge.serial_number}});
  }
  return gauges;
}

nlohmann::ordered_json plan_json(const cell::RecipePlan& entry) {
  nlohmann::ordered_json zones = nlohmann::ordered_json::array();
  for (std::size_t i = 0; i < entry.plan.part_plan.zones.size(); ++i) {
    const analysis::ZonePlan& zone = entry.plan.part_plan.zones[i];
    nlohmann::ordered_json limits = nlohmann::ordered_json::array();
    for (const auto& limit : zone.limits) {
      nlohmann::ordered_json shown{{"parameter", limit.symbol}, {"unit", limit.unit}};
      if (limit.lower) shown["lower"] = *limit.lower;
      if (limit.upper) shown["upper"] = *limit.upper;
      limits.push_back(std::move(shown));
    }
    nlohmann::ordered_json shown{{"name", zone.name}, {"traverses", zone.traverses}};
    if (const auto& gauge = entry.plan.traverses[i].gauge; !gauge.empty()) shown["gauge"] = gauge;
    if (zone.identity.are_asked()) shown["identity"] = identity_json(zone.identity);
    shown["limits"] = std::move(limits);
    zones.push_back(std::move(shown));
  }
  nlohmann::ordered_json shown{
      {"recipe", entry.recipe}, {"plan", entry.plan.name}, {"stage", entry.plan.stage_number}};
  if (!entry.plan.made_of.empty()) shown["made_of"] = entry.plan.made_of;
  if (const cell::SamplingPlan& sampling = entry.plan.sampling; sampling.every > 1) {
    shown["sampling"] = {{"every", sampling.every},
                         {"after_dress", sampling.after_dress},
                         {"after_reject", sampling.after_reject},
                         {"on_not_sampled", fate_text(entry.plan.on_not_sampled)}};
  }
  shown["zones"] = std::move(zones);
  return shown;
}

// The lamp beside the card: the first output that has both an accept and a reject to show.
std::span<const driver::Light> lamp_of(const cell::CellDescription& cell) {
  for (const cell::OutputDescription& output : cell.outputs) {
    const auto has = [&](driver::Shows shows) {
      return std::ranges::find(output.lights, shows, &driver::Light::shows) != output.lights.end();
    };
    if (has(driver::Shows::kAccept) && has(driver::Shows::kReject)) return output.lights;
  }
  return {};
}

std::string cabinet_page(CabinetPage page, const cell::CellDescription& cell) {
  const report::PageStamp stamp{.software_version = std::string(software_version())};
  return page == CabinetPage::kPlc ? report::plc_page(cell, stamp)
                                   : report::reason_card(cell.name, stamp, lamp_of(cell));
}

}  // namespace

int validate(const ValidateOptions& options) {
  const bool wants_page = options.page != CabinetPage::kNone;
  if (wants_page && options.registers)
    return could_not_run("expected one of --page and --registers, found both");
  if (wants_page && options.format == Format::kJson)
    return could_not_run("expected --page without --format json: a page is HTML");
  const auto cell = cell::read_cell(options.cell);
  if (!cell) return could_not_run(cell.error());
  if (const auto parts = check_parts(*cell); !parts)
    return could_not_run(options.cell + ": " + parts.error().detail);
  if (wants_page) {
    std::fputs(cabinet_page(options.page, *cell).c_str(), stdout);
  } else if (options.registers) {
    std::fputs(driver::register_page().c_str(), stdout);
  } else if (options.format == Format::kText) {
    print_text(*cell);
  } else {
    nlohmann::ordered_json plans = nlohmann::ordered_json::array();
    for (const auto& entry : cell->plans) plans.push_back(plan_json(entry));
    const nlohmann::ordered_json shown{
        {"cell", cell->name},
        {"ledger", cell->ledger.string()},
        {"gauges", gauges_json(*cell)},
        {"plc", plc_json(cell->plc)},
        {"outputs", outputs_json(*cell)},
        {"scanner", cell->scanner ? cell->scanner->port : ""},
        {"bypass_longest_minutes", cell->bypass.allowed ? cell->bypass.longest_minutes : 0U},
        {"plans", std::move(plans)}};
    std::printf("%s\n", shown.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
  }
  return kFine;
}

}  // namespace crestgate::command
