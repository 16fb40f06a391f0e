// SPDX-License-Identifier: Apache-2.0
#include <cstdio>
#include <string>

#include <nlohmann/json.hpp>

#include "analysis/text/number_text.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/config/texture_description.h"
#include "daemon/command/commands.h"
#include "daemon/command/run_parts.h"
#include "daemon/command/settings_text.h"
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

void print_plan(const cell::RecipePlan& entry) {
  const cell::PlanDescription& plan = entry.plan;
  std::printf("recipe %d: plan '%s', %s, stage %d (%s), part id %s, %u attempts allowed\n", entry.recipe,
              plan.name.c_str(), plan.part.c_str(), plan.stage_number, plan.stage_name.c_str(),
              plan.part_id_required ? "required" : "optional", plan.attempts_allowed);
  for (std::size_t i = 0; i < plan.traverses.size(); ++i) {
    const auto& zone = plan.part_plan.zones[i];
    const auto& traverse = plan.traverses[i];
    std::printf("  zone %zu '%s': %u x %s mm at %s um, %s mm/s; %s, %d sections, %s, form %s\n", i + 1,
                zone.name.c_str(), zone.traverses, shortest(traverse.length_mm).c_str(),
                shortest(traverse.spacing_mm * 1000.0).c_str(), shortest(traverse.speed_mm_per_s).c_str(),
                lengths_text(zone.settings).c_str(), zone.settings.sections,
                std::string(cell::name_of(zone.settings.filter)).c_str(),
                form_text(zone.settings.form).c_str());
    for (const base::Limit& limit : zone.limits) std::printf("    %s\n", limit_text(limit).c_str());
  }
}

void print_text(const cell::CellDescription& cell) {
  std::printf("cell '%s'\n", cell.name.c_str());
  std::printf("ledger %s\n", cell.ledger.c_str());
  for (const auto& gauge : cell.gauges) {
    std::printf("gauge %s%s%s, kind %s, serial number %s\n", gauge.name.c_str(),
                gauge.name.empty() ? "" : ": ", gauge.port.c_str(), gauge.kind.c_str(),
                gauge.serial_number.c_str());
  }
  std::printf("PLC   Modbus TCP on %s port %d, unit %d, heartbeat %s\n", cell.plc.address.c_str(),
              cell.plc.port, cell.plc.unit, cell.plc.heartbeat_required ? "required" : "ignored");
  for (const auto& lamp : cell.lamps) std::printf("lamp  %s\n", lamp.kind.c_str());
  for (const auto& entry : cell.plans) print_plan(entry);
  std::printf("accept -> pass, green; reject -> red; none -> blue flashing where somebody must act\n");
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
  for (const auto& zone : entry.plan.part_plan.zones) {
    nlohmann::ordered_json limits = nlohmann::ordered_json::array();
    for (const auto& limit : zone.limits) {
      nlohmann::ordered_json shown{{"parameter", limit.symbol}, {"unit", limit.unit}};
      if (limit.lower) shown["lower"] = *limit.lower;
      if (limit.upper) shown["upper"] = *limit.upper;
      limits.push_back(std::move(shown));
    }
    zones.push_back({{"name", zone.name}, {"traverses", zone.traverses}, {"limits", std::move(limits)}});
  }
  return {{"recipe", entry.recipe},
          {"plan", entry.plan.name},
          {"stage", entry.plan.stage_number},
          {"zones", std::move(zones)}};
}

}  // namespace

int validate(const ValidateOptions& options) {
  const auto cell = cell::read_cell(options.cell);
  if (!cell) return could_not_run(cell.error());
  if (const auto parts = check_parts(*cell); !parts)
    return could_not_run(options.cell + ": " + parts.error().detail);
  if (options.registers) {
    std::fputs(driver::register_page().c_str(), stdout);
  } else if (options.format == Format::kText) {
    print_text(*cell);
  } else {
    nlohmann::ordered_json plans = nlohmann::ordered_json::array();
    for (const auto& entry : cell->plans) plans.push_back(plan_json(entry));
    const nlohmann::ordered_json shown{{"cell", cell->name},
                                       {"ledger", cell->ledger.string()},
                                       {"gauges", gauges_json(*cell)},
                                       {"plc", {{"address", cell->plc.address}, {"port", cell->plc.port}}},
                                       {"plans", std::move(plans)}};
    std::printf("%s\n", shown.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
  }
  return kFine;
}

}  // namespace crestgate::command
