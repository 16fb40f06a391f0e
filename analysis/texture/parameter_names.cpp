// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/parameter_names.h"

#include <algorithm>

#include "analysis/texture/parameter_list.h"

namespace crestgate::analysis {
namespace {

template <class Wanted>
std::vector<ParameterName> names_where(const TextureSettings& settings, Wanted wanted) {
  std::vector<ParameterName> names;
  for (Parameter& parameter : parameter_list(settings)) {
    if (wanted(parameter)) names.push_back(std::move(parameter.name));
  }
  return names;
}

constexpr std::size_t kNearEnough = 2;
constexpr std::size_t kMostSuggestions = 6;

// Letters to insert, drop or replace on the way from one word to the other (V. Levenshtein 1966).
std::size_t edits_between(std::string_view from, std::string_view to) {
  std::vector<std::size_t> row(to.size() + 1);
  for (std::size_t j = 0; j < row.size(); ++j) row[j] = j;
  for (std::size_t i = 0; i < from.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < to.size(); ++j) {
      const std::size_t replaced = diagonal + (from[i] == to[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
    }
  }
  return row.back();
}

}  // namespace

std::string no_such_parameter(std::string_view symbol, const TextureSettings& settings) {
  std::string text = "these settings give no parameter '" + std::string(symbol) + "'";
  if (symbol.starts_with("Wave") && !settings.waves) return text + ": they have no band of waves";
  std::string near;
  std::size_t suggestions = 0;
  for (std::size_t edits = 0; edits <= kNearEnough; ++edits) {
    for (const ParameterName& name : parameter_names(settings)) {
      if (edits_between(symbol, name.symbol) != edits || suggestions == kMostSuggestions) continue;
      near += (near.empty() ? "" : ", ") + name.symbol;
      ++suggestions;
    }
  }
  return near.empty() ? text : text + "; the nearest are: " + near;
}

std::vector<ParameterName> parameter_names(const TextureSettings& settings) {
  return names_where(settings, [](const Parameter&) { return true; });
}

std::vector<ParameterName> routine_names(const TextureSettings& settings) {
  return names_where(settings, [](const Parameter& parameter) { return parameter.routine; });
}

std::vector<ParameterName> selected_names(const TextureSettings& settings,
                                          std::span<const std::string> symbols) {
  return names_where(settings, [symbols](const Parameter& parameter) {
    return std::ranges::find(symbols, parameter.name.symbol) != symbols.end();
  });
}

bool is_taken_in_sections(std::string_view symbol) {
  const auto found = find_parameter(symbol);
  return found && found->of_profile != nullptr && found->of_profile->section != SectionValue::kNone;
}

bool is_of_waves_or_face(std::string_view symbol) {
  const auto found = find_parameter(symbol);
  return found && (found->of_waves != nullptr || found->of_face != nullptr);
}

bool follows_from_the_plan(std::string_view symbol) {
  const auto found = find_parameter(symbol);
  return found && found->of_face != nullptr && found->of_face->of_the_plan;
}

bool needs_skidless_pickup(std::string_view symbol) { return !symbol.starts_with('R'); }

}  // namespace crestgate::analysis
