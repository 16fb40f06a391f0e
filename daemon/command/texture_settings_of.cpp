// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/texture_settings_of.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <string_view>

#include "analysis/face/face_form.h"
#include "analysis/settings/class_fit.h"
#include "analysis/settings/parameter_alias.h"
#include "analysis/text/number_text.h"
#include "daemon/cell/config/document.h"
#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/config/texture_description.h"

namespace crestgate::command {
namespace {

using analysis::TextureSettings;

constexpr double kShortestWaveMm = 0.5;

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

// The whole text as a number.
std::optional<double> number_in(std::string_view text) {
  double value = 0.0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

base::Result<analysis::FormRemoval> form_of(std::string_view text) {
  analysis::FormRemoval form;
  const auto argument = number_in(text.substr(std::min(text.find(':'), text.size() - 1) + 1));
  if (text == "line") {
    form.kind = analysis::FormKind::kLine;
  } else if (text == "none") {
    form.kind = analysis::FormKind::kNone;
  } else if (text == "arc") {
    form.kind = analysis::FormKind::kArc;
  } else if (text.starts_with("arc:") && argument) {
    form.kind = analysis::FormKind::kArc;
    form.radius_mm = *argument;
  } else if (text.starts_with("poly:") && argument && *argument >= 1.0 && *argument <= 10.0 &&
             *argument == static_cast<int>(*argument)) {
    form.kind = analysis::FormKind::kPolynomial;
    form.degree = static_cast<int>(*argument);
  } else {
    return invalid("--form: expected line, arc, arc:RADIUS_MM, poly:N (1 to 10) or none, found '" +
                   std::string(text) + "'");
  }
  return form;
}

template <class T>
base::Outcome choose(const char* option, const std::optional<std::string>& written,
                     std::span<const std::pair<std::string_view, T>> names, T& chosen) {
  if (!written) return base::Done{};
  std::string known;
  for (const auto& [name, value] : names) {
    if (name == *written) {
      chosen = value;
      return base::Done{};
    }
    known += (known.empty() ? "" : ", ") + std::string(name);
  }
  return invalid(std::string(option) + ": expected one of " + known + "; found '" + *written + "'");
}

base::Outcome set_lengths(const TextureOptions& options, const Trace& trace, TextureSettings& settings) {
  const bool stated = options.lambda_c_mm || options.lambda_s_mm;
  if (options.setting_class && stated) {
    return invalid("--setting-class: expected a class or lengths of one's own, found both");
  }
  if (!stated) {
    const auto setting = analysis::setting_class_named(options.setting_class.value_or("Sc3"));
    if (!setting) return invalid("--setting-class: " + setting.error().detail);
    if (!options.sections) {
      // Half a cut-off of run-up is the least; with less than one the numbers carry a doubt.
      const auto fits = analysis::check_face(
          *setting, {.length_mm = static_cast<double>(trace.heights_um.size()) * trace.spacing_mm,
                     .spacing_um = trace.spacing_mm * 1000.0,
                     .run_up_cut_offs = 0.5});
      if (!fits) return base::Error{fits.error().code, options.trace + ": " + fits.error().detail};
    }
    analysis::apply_setting_class(*setting, settings);
  }
  if (options.lambda_c_mm) settings.lambda_c_mm = *options.lambda_c_mm;
  if (options.lambda_s_mm) settings.lambda_s_mm = *options.lambda_s_mm;
  if (options.sections) settings.sections = *options.sections;
  settings.lambda_f_mm = options.lambda_f_mm;
  return base::Done{};
}

base::Outcome set_disk(const TextureOptions& options, TextureSettings& settings) {
  if (options.closing_radius_mm && options.opening_radius_mm) {
    return invalid("--opening-radius: expected a closing or an opening, found both");
  }
  if (options.closing_radius_mm) {
    settings.disk = {.kind = analysis::DiskFilter::Kind::kClosing, .radius_mm = *options.closing_radius_mm};
  }
  if (options.opening_radius_mm) {
    settings.disk = {.kind = analysis::DiskFilter::Kind::kOpening, .radius_mm = *options.opening_radius_mm};
  }
  return base::Done{};
}

base::Outcome set_waves(const TextureOptions& options, const Trace& trace, TextureSettings& settings) {
  const bool crooked = settings.form.kind == analysis::FormKind::kPolynomial && settings.form.degree > 2;
  if (options.waves == "none" || (!options.waves && crooked)) return base::Done{};
  const double trace_mm = static_cast<double>(trace.heights_um.size()) * trace.spacing_mm;
  // Half the trace, in whole micrometres.
  analysis::WaveBand band{.shortest_mm = kShortestWaveMm,
                          .longest_mm = std::floor(500.0 * trace_mm) / 1000.0};
  if (options.waves) {
    const std::string_view text = *options.waves;
    const std::size_t colon = text.find(':');
    const auto shortest = number_in(text.substr(0, colon));
    const auto longest = colon == std::string_view::npos ? std::nullopt : number_in(text.substr(colon + 1));
    if (!shortest || !longest) {
      return invalid("--waves: expected SHORTEST:LONGEST in mm or none, found '" + *options.waves + "'");
    }
    band = {.shortest_mm = *shortest, .longest_mm = *longest};
  } else if (!(band.shortest_mm < band.longest_mm) || trace.spacing_mm * 8.0 > band.shortest_mm) {
    return base::Done{};  // too short or too coarse for waves; nobody asked for them
  }
  settings.waves = band;
  return base::Done{};
}

void set_rest(const TextureOptions& options, TextureSettings& settings) {
  settings.elements.hill_percent = options.hill_percent.value_or(settings.elements.hill_percent);
  settings.elements.dale_percent = options.dale_percent.value_or(settings.elements.dale_percent);
  settings.pruning_percent = options.pruning_percent.value_or(settings.pruning_percent);
  settings.preparation.bridge_um = options.bridge_um.value_or(analysis::kOfflineBridgeUm);
  if (options.spike_threshold) {
    settings.preparation.spikes = analysis::SpikeOptions{};
    settings.preparation.spikes->threshold = *options.spike_threshold;
  }
  if (options.resampled_spacing_um) {
    settings.preparation.resampled_spacing_mm = *options.resampled_spacing_um / 1000.0;
  }
}

// The face is the whole trace; nobody asked for it, so it is left out where it is too short or too coarse.
void set_face(const Trace& trace, TextureSettings& settings) {
  const analysis::FaceFormSettings face;
  const auto fits = analysis::FaceForm::prepare(
      {.settings = face, .spacing_mm = trace.spacing_mm, .sample_count = trace.heights_um.size()});
  if (fits) settings.face = face;
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

base::Result<TextureSettings> settings_from_options(const TextureOptions& options, const Trace& trace) {
  TextureSettings settings;
  if (auto set = set_lengths(options, trace, settings); !set) return set.error();
  if (options.form) {
    auto form = form_of(*options.form);
    if (!form) return form.error();
    settings.form = *form;
  }
  if (auto set = choose("--filter", options.filter, cell::filter_names(), settings.filter); !set)
    return set.error();
  if (auto set = choose("--ends", options.ends, cell::end_rule_names(), settings.ends); !set)
    return set.error();
  if (auto set = set_disk(options, settings); !set) return set.error();
  if (auto set = set_waves(options, trace, settings); !set) return set.error();
  set_rest(options, settings);
  set_face(trace, settings);
  settings.ratios = {
      {.profile = 'R', .family = analysis::RatioFamily::kRatioAtDepth, .first = 5.0, .second = 1.0}};
  return settings;
}

}  // namespace

base::Result<TextureSettings> texture_settings_of(const TextureOptions& options, const Trace& trace) {
  auto settings = options.plan ? settings_from_plan(options) : settings_from_options(options, trace);
  if (!settings) return settings;
  // A material ratio that is asked for by name is computed, whatever the plan limits.
  for (const std::string& symbol : options.only) {
    const auto resolved = analysis::resolve_parameter_name(symbol);
    if (!resolved) return invalid("--only: " + resolved.error().detail);
    if (!resolved->ratio) continue;
    if (std::ranges::find(settings->ratios, *resolved->ratio) == settings->ratios.end()) {
      settings->ratios.push_back(*resolved->ratio);
    }
  }
  return settings;
}

}  // namespace crestgate::command
