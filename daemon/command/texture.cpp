// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "analysis/settings/parameter_alias.h"
#include "analysis/texture/flat_drive.h"
#include "analysis/texture/texture_computation.h"
#include "analysis/texture/value_doubts_of.h"
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

// What the option says of the tip, else what the gauge said when it recorded the trace.
analysis::GaugeConditions gauge_of(const TextureOptions& options, const Trace& trace) {
  analysis::GaugeConditions gauge;
  if (trace.recorded) {
    gauge = {.pickup = trace.recorded->gauge.pickup, .tip_radius_um = trace.recorded->gauge.tip_radius_um};
  }
  if (options.tip_radius_um) gauge.tip_radius_um = options.tip_radius_um;
  return gauge;
}

base::Error about(const std::string& trace, const base::Error& error) {
  return {error.code, trace + ": " + error.detail};
}

// What the drive may have written: no less than what could hide on the flat.
base::Result<double> drive_um(const std::string& name, const analysis::TextureSettings& settings,
                              const Trace& trace) {
  const auto flat = load_trace(name);
  if (!flat) return flat.error();
  const auto drive = analysis::drive_waves_on_flat(
      settings, {.spacing_mm = trace.spacing_mm, .sample_count = trace.heights_um.size()}, flat->heights_um,
      flat->spacing_mm);
  if (!drive) return about(name, drive.error());
  return std::max(drive->drive_um, drive->floor_um);
}

base::Result<TextureNumbers> compute(const TextureOptions& options) {
  auto trace = load_trace(options.trace);
  if (!trace) return trace.error();
  auto settings = texture_settings_of(options, *trace);
  if (!settings) return settings.error();
  if (options.flat) {
    if (!settings->waves)
      return base::Error{base::ErrorCode::kInvalidConfig, "--flat: there is no band of waves"};
    const auto written = drive_um(*options.flat, *settings, *trace);
    if (!written) return written.error();
    settings->waves->drive_um = *written;
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
                                    analysis::doubts_of_gauge(gauge_of(options, *trace), *settings));
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
