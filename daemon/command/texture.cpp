// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "analysis/texture/number_text.h"
#include "analysis/texture/texture_computation.h"
#include "daemon/cell/config/document.h"
#include "daemon/cell/config/plan_description.h"
#include "daemon/command/commands.h"
#include "daemon/command/trace_source.h"

namespace crestgate::command {
namespace {

using analysis::TextureSettings;

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

base::Result<analysis::FormRemoval> form_of(std::string_view text) {
  analysis::FormRemoval form;
  if (text == "line") {
    form.kind = analysis::FormKind::kLine;
  } else if (text == "arc") {
    form.kind = analysis::FormKind::kArc;
  } else if (text == "none") {
    form.kind = analysis::FormKind::kNone;
  } else if (text.substr(0, 5) == "poly:") {
    form.kind = analysis::FormKind::kPolynomial;
    const char* last = text.data() + text.size();
    const auto [end, failure] = std::from_chars(text.data() + 5, last, form.degree);
    if (failure != std::errc{} || end != last)
      return invalid("--form: expected poly:N with a number, found '" + std::string(text) + "'");
  } else {
    return invalid("--form: expected line, arc, poly:N or none, found '" + std::string(text) + "'");
  }
  return form;
}

base::Result<TextureSettings> settings_from_plan(const TextureOptions& options) {
  auto text = cell::read_text_file(*options.plan);
  if (!text) return text.error();
  auto plan = cell::read_plan(*text, *options.plan);
  if (!plan) return plan.error();
  if (!options.zone && plan->part_plan.zones.size() == 1) return plan->part_plan.zones.front().settings;
  std::string names;
  for (const auto& zone : plan->part_plan.zones) {
    if (options.zone && zone.name == *options.zone) return zone.settings;
    names += (names.empty() ? "" : ", ") + zone.name;
  }
  return invalid(*options.plan + ": expected --zone with one of: " + names +
                 (options.zone ? "; found '" + *options.zone + "'" : ""));
}

// Without a plan: the defaults of ISO 21920-3:2021 for class Sc3 (from memory), changed by the options given.
base::Result<TextureSettings> settings_from_options(const TextureOptions& options) {
  TextureSettings settings;
  if (options.lambda_c_mm) settings.lambda_c_mm = *options.lambda_c_mm;
  if (options.lambda_s_mm) settings.lambda_s_mm = *options.lambda_s_mm;
  if (options.sections) settings.sections = *options.sections;
  if (options.form) {
    auto form = form_of(*options.form);
    if (!form) return form.error();
    settings.form = *form;
  }
  settings.material_ratios = {{.reference_percent = 5.0, .depth_um = 1.0}};
  return settings;
}

const char* form_name(analysis::FormKind kind) {
  switch (kind) {
    case analysis::FormKind::kNone:
      return "none";
    case analysis::FormKind::kLine:
      return "line";
    case analysis::FormKind::kArc:
      return "arc";
    case analysis::FormKind::kPolynomial:
      return "poly";
  }
  return "?";
}

std::string form_text(const analysis::FormRemoval& form) {
  std::string text = form_name(form.kind);
  if (form.kind == analysis::FormKind::kPolynomial) text += ":" + std::to_string(form.degree);
  return text;
}

struct Numbers {
  Trace trace;
  TextureSettings settings;
  analysis::EvaluationLayout layout;
  std::vector<analysis::ParameterName> names;
  std::vector<analysis::ParameterValue> values;
};

base::Result<Numbers> compute(const TextureOptions& options) {
  auto settings = options.plan ? settings_from_plan(options) : settings_from_options(options);
  if (!settings) return settings.error();
  auto trace = load_trace(options.trace);
  if (!trace) return trace.error();
  const auto missing = std::count_if(trace->heights_um.begin(), trace->heights_um.end(),
                                     [](double height) { return !std::isfinite(height); });
  if (missing > 0) {
    return base::Error{base::ErrorCode::kNoData, options.trace + ": expected a whole trace, found " +
                                                     std::to_string(missing) +
                                                     " missing or over-range samples"};
  }
  auto computation =
      analysis::TextureComputation::prepare(*settings, trace->spacing_mm, trace->heights_um.size());
  if (!computation)
    return base::Error{computation.error().code, options.trace + ": " + computation.error().detail};
  Numbers numbers{.trace = std::move(*trace),
                  .settings = *settings,
                  .layout = computation->layout(),
                  .names = {computation->names().begin(), computation->names().end()},
                  .values = std::vector<analysis::ParameterValue>(computation->names().size())};
  analysis::Workspace workspace;
  const auto outcome = computation->run(numbers.trace.heights_um, workspace, numbers.values);
  if (!outcome) return base::Error{outcome.error().code, options.trace + ": " + outcome.error().detail};
  return numbers;
}

bool wanted(const TextureOptions& options, const std::string& symbol) {
  return options.only.empty() ||
         std::find(options.only.begin(), options.only.end(), symbol) != options.only.end();
}

// "Rmr(5%,1.0um)" holds the list's own separator: pieces inside brackets belong together.
std::vector<std::string> joined_brackets(const std::vector<std::string>& pieces) {
  std::vector<std::string> symbols;
  bool open = false;
  for (const std::string& piece : pieces) {
    if (open) {
      symbols.back() += "," + piece;
    } else {
      symbols.push_back(piece);
    }
    const std::string& last = symbols.back();
    open = std::count(last.begin(), last.end(), '(') > std::count(last.begin(), last.end(), ')');
  }
  return symbols;
}

nlohmann::ordered_json settings_json(const Numbers& numbers) {
  nlohmann::ordered_json json{{"lambda_s_mm", numbers.settings.lambda_s_mm},
                              {"lambda_c_mm", numbers.settings.lambda_c_mm},
                              {"filter", "gaussian"},
                              {"form", form_text(numbers.settings.form)},
                              {"spacing_mm", numbers.trace.spacing_mm},
                              {"samples", numbers.trace.heights_um.size()},
                              {"sections", numbers.layout.sections},
                              {"section_length_mm", numbers.layout.section_length_mm},
                              {"evaluation_start_mm", numbers.layout.evaluation_start_mm},
                              {"evaluation_length_mm", numbers.layout.evaluation_length_mm}};
  if (numbers.settings.waves) {
    json["wave_shortest_mm"] = numbers.settings.waves->shortest_mm;
    json["wave_longest_mm"] = numbers.settings.waves->longest_mm;
  }
  return json;
}

void print_json(const Numbers& numbers, const TextureOptions& options) {
  nlohmann::ordered_json parameters = nlohmann::ordered_json::object();
  nlohmann::ordered_json units = nlohmann::ordered_json::object();
  for (std::size_t i = 0; i < numbers.names.size(); ++i) {
    const auto& name = numbers.names[i];
    if (!wanted(options, name.symbol)) continue;
    parameters[name.symbol] =
        numbers.values[i].defined ? nlohmann::ordered_json(numbers.values[i].value) : nullptr;
    units[name.symbol] = name.unit;
  }
  const nlohmann::ordered_json shown{{"trace", numbers.trace.description},
                                     {"settings", settings_json(numbers)},
                                     {"parameters", std::move(parameters)},
                                     {"units", std::move(units)}};
  std::printf("%s\n", shown.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
}

void print_text(const Numbers& numbers, const TextureOptions& options) {
  using analysis::shortest;
  const auto& settings = numbers.settings;
  std::printf("%s\n", numbers.trace.description.c_str());
  std::printf("%zu samples at %s um; lambda_s %s um, lambda_c %s mm, gaussian, form %s\n",
              numbers.trace.heights_um.size(), analysis::fixed(numbers.trace.spacing_mm * 1000.0, 4).c_str(),
              shortest(settings.lambda_s_mm * 1000.0).c_str(), shortest(settings.lambda_c_mm).c_str(),
              form_text(settings.form).c_str());
  std::printf("evaluated: %zu sections of %s mm from %s mm%s\n\n", numbers.layout.sections,
              analysis::fixed(numbers.layout.section_length_mm, 4).c_str(),
              analysis::fixed(numbers.layout.evaluation_start_mm, 4).c_str(),
              numbers.layout.full_run_up ? "" : " (run-up shorter than lambda_c: the ends are less certain)");
  for (std::size_t i = 0; i < numbers.names.size(); ++i) {
    const auto& name = numbers.names[i];
    if (!wanted(options, name.symbol)) continue;
    const std::string value =
        numbers.values[i].defined ? analysis::fixed(numbers.values[i].value, 4) : "none";
    std::printf("  %-16s %14s %s\n", name.symbol.c_str(), value.c_str(), name.unit.c_str());
  }
}

}  // namespace

int texture(const TextureOptions& options) {
  TextureOptions asked = options;
  asked.only = joined_brackets(asked.only);
  const auto numbers = compute(asked);
  if (!numbers) return could_not_run(numbers.error());
  for (const std::string& symbol : asked.only) {
    const bool known = std::any_of(numbers->names.begin(), numbers->names.end(),
                                   [&](const auto& name) { return name.symbol == symbol; });
    if (!known) return could_not_run("--only: these settings give no parameter '" + symbol + "'");
  }
  if (asked.format == Format::kJson) {
    print_json(*numbers, asked);
  } else {
    print_text(*numbers, asked);
  }
  return kFine;
}

}  // namespace crestgate::command
