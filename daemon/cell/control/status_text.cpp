// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/control/status_text.h"

#include <array>
#include <chrono>
#include <ctime>
#include <span>
#include <string_view>
#include <utility>

#include <nlohmann/json.hpp>

#include "daemon/cell/cycle/cycle.h"
#include "registers/register_words.h"

namespace crestgate::cell {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::array<std::string_view, 4> kLamps = {"dark", "green", "red", "blue flashing"};
constexpr std::array<std::string_view, 3> kVerdicts = {"none", "accept", "reject"};
std::string_view word_of(std::span<const registers::NumberedWord> words, std::uint16_t number) {
  for (const registers::NumberedWord& word : words) {
    if (word.number == number) return word.name;
  }
  return "unknown";
}

std::string utc_text(base::UtcInstant instant) {
  const std::time_t seconds = instant.unix_ns / 1'000'000'000;
  std::tm parts{};
  std::array<char, 32> text{};
  if (::gmtime_r(&seconds, &parts) == nullptr) return "";
  const std::size_t size = std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &parts);
  return {text.data(), size};
}

Json gauges_json(const Cycle& cycle) {
  Json gauges = Json::array();
  for (std::size_t i = 0; i < cycle.gauges().size(); ++i) {
    const GaugeStanding& gauge = cycle.gauges()[i];
    Json shown{{"name", cycle.cell().gauges[i].name},
               {"online", gauge.identity.has_value()},
               {"stylus_clear", gauge.stylus_clear}};
    if (gauge.identity) {
      shown["model"] = gauge.identity->model;
      shown["serial_number"] = gauge.identity->serial_number;
    } else {
      shown["why"] = gauge.offline_detail.empty() ? std::string(base::text_of(gauge.offline_reason).sentence)
                                                  : gauge.offline_detail;
    }
    gauges.push_back(std::move(shown));
  }
  return gauges;
}

}  // namespace

Json status_json(const Cycle& cycle, const base::CellSignal& signal,
                 const std::map<std::string, std::string>& outputs, const std::string& software_version) {
  Json troubled = Json::array();
  for (const auto& [name, why] : outputs) troubled.push_back({{"name", name}, {"why", why}});
  Json warnings = Json::array();
  for (const registers::Bit& bit : registers::kWarningBits) {
    if ((signal.warnings & bit.mask) != 0) warnings.push_back(bit.name);
  }
  Json plans = Json::array();
  for (const RecipePlan& entry : cycle.cell().plans) {
    plans.push_back({{"recipe", entry.recipe}, {"plan", entry.plan.name}});
  }
  Json status{{"ok", true},
              {"cell", cycle.cell().name},
              {"version", software_version},
              {"state", word_of(registers::kStateWords, static_cast<std::uint16_t>(signal.state))},
              {"ready", signal.ready},
              {"lamp", kLamps[static_cast<std::size_t>(signal.lamp)]},
              {"line", signal.line},
              {"reason_code", static_cast<int>(signal.reason)},
              {"reason", base::text_of(signal.reason).name},
              {"stylus_clear", signal.stylus_clear},
              {"ledger_healthy", signal.ledger_healthy},
              {"part_id", signal.part_id},
              {"attempt", signal.attempt},
              {"zone_wanted", signal.zone_wanted},
              {"zone_done", signal.zone_done},
              {"zones_total", signal.zones_total},
              {"sequence", signal.sequence}};
  if (signal.result_valid) {
    status["verdict"] = kVerdicts[static_cast<std::size_t>(signal.verdict)];
    status["fate"] = word_of(registers::kFateWords, static_cast<std::uint16_t>(signal.fate));
    status["result_age_ms"] = signal.result_age_ms;
  }
  if (const auto& bypass = cycle.bypass()) {
    status["bypass"] = {{"who", bypass->who}, {"until", utc_text(bypass->until_utc)}};
  }
  status["gauges"] = gauges_json(cycle);
  status["outputs_in_trouble"] = std::move(troubled);
  status["warnings"] = std::move(warnings);
  status["plans"] = std::move(plans);
  return status;
}

}  // namespace crestgate::cell
