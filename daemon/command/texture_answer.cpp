// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/texture_answer.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <string>
#include <string_view>

#include <nlohmann/json.hpp>

#include "analysis/text/number_text.h"
#include "daemon/cell/config/texture_description.h"
#include "daemon/command/settings_text.h"

namespace crestgate::command {
namespace {

using analysis::shortest;
using Json = nlohmann::ordered_json;

Json settings_json(const TextureNumbers& numbers) {
  const analysis::TextureSettings& settings = numbers.settings;
  Json json{{"setting_class", settings.setting_class.empty() ? Json(nullptr) : Json(settings.setting_class)},
            {"lambda_s_mm", settings.lambda_s_mm},
            {"lambda_c_mm", settings.lambda_c_mm},
            {"lambda_f_mm", settings.lambda_f_mm ? Json(*settings.lambda_f_mm) : Json(nullptr)},
            {"filter", cell::name_of(settings.filter)},
            {"ends", cell::name_of(settings.ends)},
            {"form", form_text(settings.form)},
            {"spacing_mm", numbers.spacing_mm},
            {"measured_spacing_mm", numbers.measured_spacing_mm},
            {"measured_samples", numbers.sample_count},
            {"samples", numbers.prepared_count},
            {"sections", numbers.layout.sections},
            {"section_length_mm", numbers.layout.section_length_mm},
            {"evaluation_start_mm", numbers.layout.evaluation_start_mm},
            {"evaluation_length_mm", numbers.layout.evaluation_length_mm},
            {"full_run_up", numbers.layout.full_run_up},
            {"hill_percent", settings.elements.hill_percent},
            {"dale_percent", settings.elements.dale_percent},
            {"pruning_percent", settings.pruning_percent},
            {"bridge_um", settings.preparation.bridge_um}};
  if (settings.preparation.spikes) json["spike_threshold"] = settings.preparation.spikes->threshold;
  if (settings.disk) {
    const bool closing = settings.disk->kind == analysis::DiskFilter::Kind::kClosing;
    json[closing ? "closing_radius_mm" : "opening_radius_mm"] = settings.disk->radius_mm;
  }
  if (settings.waves) {
    json["wave_shortest_mm"] = settings.waves->shortest_mm;
    json["wave_longest_mm"] = settings.waves->longest_mm;
    json["drive_um"] = settings.waves->drive_um;
  }
  if (settings.face) {
    json["face_start_mm"] = settings.face->start_mm;
    json["face_end_mm"] = settings.face->end_mm ? Json(*settings.face->end_mm) : Json(nullptr);
    json["edge_mm"] = settings.face->edge_mm;
    json["spot_smoothing_mm"] = settings.face->spot_smoothing_mm;
  }
  return json;
}

Json waves_json(const analysis::WaveFinding& waves) {
  Json components = Json::array();
  for (const auto& component : waves.components()) {
    components.push_back({{"spacing_mm", component.spacing_mm},
                          {"height_um", component.height_um},
                          {"first_crest_mm", component.first_crest_mm},
                          {"in_band", component.in_band}});
  }
  Json single = Json::array();
  for (const auto& wave : waves.single.waves()) {
    single.push_back({{"start_mm", wave.start_mm},
                      {"crest_mm", wave.crest_mm},
                      {"end_mm", wave.end_mm},
                      {"height_um", wave.height_um},
                      {"spacing_mm", wave.spacing_mm}});
  }
  return {{"found", waves.found},
          {"false_alarm", waves.false_alarm},
          {"sinusoids", std::move(components)},
          {"single_waves", std::move(single)},
          {"all_are_listed", waves.single.is_complete()}};
}

// The search ran: a number of waves or face was asked for.
bool has_waves(const TextureNumbers& numbers) {
  return std::ranges::any_of(numbers.names,
                             [](const auto& name) { return analysis::is_of_waves_or_face(name.symbol); });
}

std::vector<analysis::ValueDoubt> listed(analysis::DoubtSet doubts) {
  std::vector<analysis::ValueDoubt> list;
  for (std::uint32_t bit = 0; bit < analysis::kValueDoubts; ++bit) {
    const auto doubt = static_cast<analysis::ValueDoubt>(1U << bit);
    if (doubts.has(doubt)) list.push_back(doubt);
  }
  return list;
}

// Four digits that count: textures span micrometres and their thousandths.
std::string written(const analysis::ParameterValue& value) {
  if (!value.defined) return "-";
  const double size = std::abs(value.value);
  if (size == 0.0) return "0";
  const int before = static_cast<int>(std::floor(std::log10(size))) + 1;
  return analysis::fixed(value.value, std::clamp(4 - before, 0, 12));
}

// Letters for the doubts that were met, in the order of their first meeting.
class Footnotes {
 public:
  std::string mark(analysis::DoubtSet doubts) {
    std::string marks;
    for (const analysis::ValueDoubt doubt : listed(doubts)) {
      const auto known = std::ranges::find(met_, doubt);
      if (known == met_.end()) met_.push_back(doubt);
      marks += static_cast<char>('a' + (std::ranges::find(met_, doubt) - met_.begin()));
    }
    std::ranges::sort(marks);
    return marks;
  }
  void print() const {
    for (std::size_t i = 0; i < met_.size(); ++i) {
      const std::string_view sentence = text_of(met_[i]).sentence;
      std::printf("%s  %c  %.*s\n", i == 0 ? "\n" : "", static_cast<char>('a' + i),
                  static_cast<int>(sentence.size()), sentence.data());
    }
  }

 private:
  std::vector<analysis::ValueDoubt> met_;
};

std::string padded(std::string text, std::size_t width) {
  if (text.size() < width) text.append(width - text.size(), ' ');
  return text;
}

std::string aligned(const std::string& text, std::size_t width) {
  return std::string(width - std::min(width, text.size()), ' ') + text;
}

void print_trimmed(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  std::printf("%s\n", line.c_str());
}

void print_head(const TextureNumbers& numbers) {
  const analysis::TextureSettings& settings = numbers.settings;
  std::printf("%s\n", numbers.trace.c_str());
  std::string filter(cell::name_of(settings.filter));
  if (numbers.mean_line.passes > 0) filter += " (" + std::to_string(numbers.mean_line.passes) + " passes)";
  std::printf("%zu samples at %s um; %s, %s, form %s\n", numbers.sample_count,
              analysis::fixed(numbers.measured_spacing_mm * 1000.0, 4).c_str(),
              lengths_text(settings).c_str(), filter.c_str(), form_text(settings.form).c_str());
  std::printf("evaluated: %zu sections of %s mm from %s mm", numbers.layout.sections,
              analysis::fixed(numbers.layout.section_length_mm, 4).c_str(),
              analysis::fixed(numbers.layout.evaluation_start_mm, 4).c_str());
  if (settings.waves) {
    std::printf("; waves of %s to %s mm", shortest(settings.waves->shortest_mm).c_str(),
                shortest(settings.waves->longest_mm).c_str());
  }
  std::printf("\n");
  if (const std::string touched = sentence_about(numbers.preparation); !touched.empty()) {
    std::printf("%s\n", touched.c_str());
  }
  for (const std::string& note : numbers.notes) std::printf("%s\n", note.c_str());
  std::printf("\n");
}

void print_line(const TextureNumbers& numbers, std::size_t i, Footnotes& footnotes) {
  print_trimmed(padded("  " + numbers.names[i].symbol, 22) + aligned(written(numbers.values[i]), 13) + " " +
                padded(footnotes.mark(numbers.values[i].doubts), 4) + " " + numbers.names[i].unit);
}

// Rows of the suffixes that R, W and P share, then the rest one by one.
void print_table(const TextureNumbers& numbers, Footnotes& footnotes) {
  constexpr std::string_view kProfiles = "RWP";
  std::map<std::string, std::size_t> places;
  for (std::size_t i = 0; i < numbers.names.size(); ++i) places[numbers.names[i].symbol] = i;
  std::printf("      %14s    %14s    %14s\n", "R", "W", "P");
  std::vector<std::size_t> rest;
  for (std::size_t i = 0; i < numbers.names.size(); ++i) {
    const std::string& symbol = numbers.names[i].symbol;
    const std::string suffix = symbol.substr(1);
    const bool shared =
        std::ranges::all_of(kProfiles, [&](char profile) { return places.contains(profile + suffix); });
    if (!shared || kProfiles.find(symbol[0]) == std::string_view::npos) {
      rest.push_back(i);
      continue;
    }
    if (symbol[0] != kProfiles[0]) continue;
    std::string line = padded("  " + suffix, 6);
    for (const char profile : kProfiles) {
      const auto& value = numbers.values[places[profile + suffix]];
      line += aligned(written(value), 14) + " " + padded(footnotes.mark(value.doubts), 3);
    }
    print_trimmed(line + " " + numbers.names[i].unit);
  }
  std::printf("\n");
  for (const std::size_t i : rest) print_line(numbers, i, footnotes);
}

void print_waves(const TextureNumbers& numbers) {
  for (const auto& component : numbers.waves.components()) {
    if (component.in_band) continue;
    std::printf("\n  outside of the band: %s um every %s mm\n",
                analysis::fixed(component.height_um, 3).c_str(),
                analysis::fixed(component.spacing_mm, 3).c_str());
  }
  const auto waves = numbers.waves.single.waves();
  if (!numbers.waves.found || waves.empty()) return;
  std::printf("\n  waves, valley to valley:  crest at mm   height um   spacing mm\n");
  for (const auto& wave : waves) {
    std::printf("  %38s %11s %12s\n", analysis::fixed(wave.crest_mm, 3).c_str(),
                analysis::fixed(wave.height_um, 3).c_str(), analysis::fixed(wave.spacing_mm, 3).c_str());
  }
}

}  // namespace

void print_texture_json(const TextureNumbers& numbers) {
  Json parameters = Json::object();
  Json units = Json::object();
  Json doubts = Json::object();
  Json words = Json::object();
  Json sections = Json::object();
  for (std::size_t i = 0; i < numbers.names.size(); ++i) {
    const auto& name = numbers.names[i];
    parameters[name.symbol] = numbers.values[i].defined ? Json(numbers.values[i].value) : Json(nullptr);
    units[name.symbol] = name.unit;
    if (!numbers.sections[i].empty()) sections[name.symbol] = numbers.sections[i];
    for (const analysis::ValueDoubt doubt : listed(numbers.values[i].doubts)) {
      doubts[name.symbol].push_back(text_of(doubt).name);
      words[std::string(text_of(doubt).name)] = text_of(doubt).sentence;
    }
  }
  Json shown{{"trace", numbers.trace},
             {"settings", settings_json(numbers)},
             {"parameters", std::move(parameters)},
             {"units", std::move(units)},
             {"section_values", std::move(sections)},
             {"doubts", std::move(doubts)},
             {"doubts_in_words", std::move(words)}};
  if (has_waves(numbers)) shown["waves"] = waves_json(numbers.waves);
  if (const std::string touched = sentence_about(numbers.preparation); !touched.empty()) {
    shown["prepared"] = touched;
  }
  if (numbers.mean_line.passes > 0) shown["filter_passes"] = numbers.mean_line.passes;
  if (!numbers.notes.empty()) shown["notes"] = numbers.notes;
  std::printf("%s\n", shown.dump(2, ' ', false, Json::error_handler_t::replace).c_str());
}

void print_texture_text(const TextureNumbers& numbers, bool listed) {
  print_head(numbers);
  Footnotes footnotes;
  if (listed) {
    for (std::size_t i = 0; i < numbers.names.size(); ++i) print_line(numbers, i, footnotes);
  } else {
    print_table(numbers, footnotes);
    print_waves(numbers);
  }
  footnotes.print();
}

}  // namespace crestgate::command
