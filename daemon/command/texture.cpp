// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "analysis/settings/class_fit.h"
#include "analysis/settings/parameter_alias.h"
#include "analysis/texture/texture_computation.h"
#include "base/identity.h"
#include "daemon/command/commands.h"
#include "daemon/command/texture_answer.h"
#include "daemon/command/texture_settings_of.h"
#include "daemon/command/trace_source.h"

namespace crestgate::command {
namespace {

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

// What was asked for, in the symbols that are computed, with what differs from the older names.
base::Outcome resolve(TextureOptions& options, std::vector<std::string>& notes) {
  for (std::string& symbol : options.only) {
    const auto resolved = analysis::resolve_parameter_name(symbol);
    if (!resolved) return base::Error{resolved.error().code, "--only: " + resolved.error().detail};
    if (!resolved->note.empty())
      notes.push_back(symbol + " is now " + resolved->symbol + ": " + resolved->note);
    symbol = resolved->symbol;
  }
  return base::Done{};
}

analysis::DoubtSet doubts_of_gauge(const TextureOptions& options, const Trace& trace,
                                   const analysis::TextureSettings& settings) {
  analysis::DoubtSet doubts;
  std::optional<double> tip_radius_um = options.tip_radius_um;
  if (trace.recorded) {
    if (trace.recorded->gauge.pickup == base::Pickup::kSkidded) doubts |= analysis::ValueDoubt::kSkidded;
    if (!tip_radius_um) tip_radius_um = trace.recorded->gauge.tip_radius_um;
  }
  const auto setting = analysis::setting_class_named(settings.setting_class);
  if (setting && tip_radius_um && *tip_radius_um > setting->most_tip_radius_um) {
    doubts |= analysis::ValueDoubt::kLargeTip;
  }
  return doubts;
}

base::Error about(const std::string& trace, const base::Error& error) {
  return {error.code, trace + ": " + error.detail};
}

// The waves that the drive itself writes, from a trace over a reference flat.
base::Result<double> drive_waves(const std::string& name, const analysis::TextureSettings& settings) {
  const auto flat = load_trace(name);
  if (!flat) return flat.error();
  const std::vector<std::string> only = {"WaveHeight"};
  const auto computation =
      analysis::TextureComputation::prepare(settings, flat->spacing_mm, flat->heights_um.size(), only);
  if (!computation) return about(name, computation.error());
  analysis::Workspace workspace;
  std::vector<analysis::ParameterValue> values(computation->names().size());
  if (const auto ran = computation->run(flat->heights_um, workspace, values); !ran)
    return about(name, ran.error());
  return std::max(values.front().value, values.front().most);
}

base::Result<TextureNumbers> compute(const TextureOptions& options) {
  auto trace = load_trace(options.trace);
  if (!trace) return trace.error();
  auto settings = texture_settings_of(options, *trace);
  if (!settings) return settings.error();
  if (options.flat) {
    if (!settings->waves)
      return base::Error{base::ErrorCode::kInvalidConfig, "--flat: there is no band of waves"};
    const auto drive_um = drive_waves(*options.flat, *settings);
    if (!drive_um) return drive_um.error();
    settings->waves->drive_um = *drive_um;
  }
  for (const std::string& symbol : options.only) {
    if (analysis::selected_names(*settings, std::span(&symbol, 1)).empty()) {
      return base::Error{base::ErrorCode::kInvalidConfig,
                         "--only: " + analysis::no_such_parameter(symbol, *settings)};
    }
  }
  const auto computation = analysis::TextureComputation::prepare(*settings, trace->spacing_mm,
                                                                 trace->heights_um.size(), options.only);
  if (!computation) return about(options.trace, computation.error());
  TextureNumbers numbers{.trace = trace->description,
                         .sample_count = trace->heights_um.size(),
                         .prepared_count = computation->prepared_count(),
                         .measured_spacing_mm = trace->spacing_mm,
                         .spacing_mm = computation->spacing_mm(),
                         .settings = *settings,
                         .layout = computation->layout(),
                         .names = {computation->names().begin(), computation->names().end()},
                         .values = std::vector<analysis::ParameterValue>(computation->names().size()),
                         .sections = {},
                         .preparation = {},
                         .mean_line = {},
                         .waves = {},
                         .notes = {}};
  analysis::Workspace workspace;
  const auto ran = computation->run(trace->heights_um, workspace, numbers.values,
                                    doubts_of_gauge(options, *trace, *settings));
  if (!ran) return about(options.trace, ran.error());
  for (std::size_t i = 0; i < numbers.names.size(); ++i) {
    const auto values = computation->section_values(i, workspace);
    numbers.sections.emplace_back(values.begin(), values.end());
  }
  numbers.preparation = workspace.preparation();
  numbers.mean_line = workspace.mean_line();
  numbers.waves = workspace.waves();
  return numbers;
}

}  // namespace

int texture(const TextureOptions& options) {
  TextureOptions asked = options;
  asked.only = joined_brackets(asked.only);
  std::vector<std::string> notes;
  if (const auto resolved = resolve(asked, notes); !resolved) return could_not_run(resolved.error());
  auto numbers = compute(asked);
  if (!numbers) return could_not_run(numbers.error());
  numbers->notes = std::move(notes);
  if (asked.format == Format::kJson) {
    print_texture_json(*numbers);
  } else {
    print_texture_text(*numbers, !asked.only.empty());
  }
  return kFine;
}

}  // namespace crestgate::command
