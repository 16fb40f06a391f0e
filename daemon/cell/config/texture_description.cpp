// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/texture_description.h"

#include <array>
#include <optional>
#include <string>

#include "analysis/settings/setting_class.h"

namespace crestgate::cell {
namespace {

using analysis::EndRule;
using analysis::FilterKind;

constexpr std::array<std::pair<std::string_view, analysis::FormKind>, 4> kForms = {{
    {"line", analysis::FormKind::kLine},
    {"arc", analysis::FormKind::kArc},
    {"polynomial", analysis::FormKind::kPolynomial},
    {"none", analysis::FormKind::kNone},
}};
constexpr std::array<std::pair<std::string_view, FilterKind>, 5> kFilters = {
    {{"gaussian", FilterKind::kGaussian},
     {"robust", FilterKind::kRobustOrder0},
     {"robust2", FilterKind::kRobustOrder2},
     {"spline", FilterKind::kSpline},
     {"two-step", FilterKind::kTwoStep}}};
constexpr std::array<std::pair<std::string_view, EndRule>, 6> kEndRules = {
    {{"moment-0", EndRule::kRenormalised},
     {"moment-1", EndRule::kMomentOrder1},
     {"zero", EndRule::kZero},
     {"line", EndRule::kExtrapolated},
     {"mirror", EndRule::kReflected},
     {"point-mirror", EndRule::kPointReflected}}};

template <class T, std::size_t N>
std::string_view name_in(const std::array<std::pair<std::string_view, T>, N>& names, T wanted) {
  for (const auto& [name, value] : names) {
    if (value == wanted) return name;
  }
  return "?";
}

void read_lengths(TableReader& table, std::span<const base::Limit> limits,
                  analysis::TextureSettings& settings) {
  const std::optional<std::string> named = table.text_if_given("setting_class");
  if (table.has("lambda_c_mm")) {
    if (named) table.complain("setting_class", "expected a class or lengths of one's own, found both");
    settings.lambda_s_mm = table.number("lambda_s_um", {0.0, 1000.0}) / 1000.0;
    settings.lambda_c_mm = table.number("lambda_c_mm", {0.001, 100.0});
    settings.sections = static_cast<int>(table.integer("sections", 1, 100));
    settings.section_length_mm = table.number_if_given("section_length_mm", {0.001, 100.0});
    return;
  }
  const auto choice =
      analysis::choose_setting_class(named ? std::optional<std::string_view>(*named) : std::nullopt, limits);
  if (!choice) {
    table.complain("setting_class", choice.error().detail);
    return;
  }
  analysis::apply_setting_class(choice->setting, settings);
}

void read_form(TableReader& table, analysis::TextureSettings& settings) {
  settings.form.kind = table.choice<analysis::FormKind>("form", kForms);
  if (settings.form.kind == analysis::FormKind::kPolynomial) {
    settings.form.degree = static_cast<int>(table.integer("form_degree", 1, 10));
  }
  if (settings.form.kind == analysis::FormKind::kArc) {
    settings.form.radius_mm = table.number_if_given("form_radius_mm", {0.01, 100000.0});
  }
}

void read_choices(TableReader& table, analysis::TextureSettings& settings) {
  settings.filter = table.choice<FilterKind>("filter", kFilters);
  settings.ends = table.choice_if_given<EndRule>("ends", kEndRules).value_or(settings.ends);
  settings.lambda_f_mm = table.number_if_given("lambda_f_mm", {0.001, 1000.0});
  constexpr NumberRange kPercent{0.0, 100.0};
  auto& elements = settings.elements;
  elements.hill_percent = table.number_if_given("hill_percent", kPercent).value_or(elements.hill_percent);
  elements.dale_percent = table.number_if_given("dale_percent", kPercent).value_or(elements.dale_percent);
  settings.pruning_percent =
      table.number_if_given("pruning_percent", {0.01, 100.0}).value_or(settings.pruning_percent);
  constexpr NumberRange kRadius{0.0001, 1000.0};
  const auto closing = table.number_if_given("closing_radius_mm", kRadius);
  const auto opening = table.number_if_given("opening_radius_mm", kRadius);
  if (closing && opening) table.complain("opening_radius_mm", "expected a closing or an opening, found both");
  if (closing) settings.disk = {.kind = analysis::DiskFilter::Kind::kClosing, .radius_mm = *closing};
  if (opening) settings.disk = {.kind = analysis::DiskFilter::Kind::kOpening, .radius_mm = *opening};
}

void read_preparation(TableReader& zone, analysis::PreparationOptions& options) {
  auto table = zone.table_if_given("prepare");
  if (!table) return;
  options.bridge_um = table->number_if_given("bridge_um", {0.0, 1000.0}).value_or(0.0);
  options.most_bridged_percent =
      table->number_if_given("most_bridged_percent", {0.0, 100.0}).value_or(options.most_bridged_percent);
  if (const auto threshold = table->number_if_given("spike_threshold", {1.0, 1000.0})) {
    analysis::SpikeOptions spikes;
    spikes.threshold = *threshold;
    spikes.window_um = table->number_if_given("spike_window_um", {0.01, 1000.0}).value_or(spikes.window_um);
    spikes.least_height_um =
        table->number_if_given("spike_least_um", {0.0, 1000.0}).value_or(spikes.least_height_um);
    options.spikes = spikes;
  }
  if (const auto spacing_um = table->number_if_given("resampled_spacing_um", {0.01, 100.0})) {
    options.resampled_spacing_mm = *spacing_um / 1000.0;
  }
  table->finish();
}

void read_waves(TableReader& zone, analysis::TextureSettings& settings) {
  auto table = zone.table_if_given("waves");
  if (!table) return;
  analysis::WaveBand band{};
  band.shortest_mm = table->number("shortest_mm", {0.01, 1000.0});
  band.longest_mm = table->number("longest_mm", {0.01, 1000.0});
  if (band.longest_mm <= band.shortest_mm) table->complain("longest_mm", "expected more than shortest_mm");
  band.drive_um = table->number_if_given("drive_um", {0.0, 1000.0}).value_or(0.0);
  table->finish();
  settings.waves = band;
}

void read_face(TableReader& zone, analysis::TextureSettings& settings) {
  auto table = zone.table_if_given("face");
  if (!table) return;
  analysis::FaceFormSettings face;
  constexpr NumberRange kPlace{0.0, 1000.0};
  face.start_mm = table->number_if_given("start_mm", kPlace).value_or(face.start_mm);
  face.end_mm = table->number_if_given("end_mm", kPlace);
  face.edge_mm = table->number_if_given("edge_mm", kPlace).value_or(face.edge_mm);
  face.spot_smoothing_mm =
      table->number_if_given("spot_smoothing_mm", {0.001, 100.0}).value_or(face.spot_smoothing_mm);
  if (const auto radius_mm = table->number_if_given("radius_mm", {0.01, 100000.0})) {
    face.skew = {.radius_mm = *radius_mm, .most_degrees = table->number("most_skew_degrees", {0.0, 45.0})};
  }
  table->finish();
  settings.face = face;
}

}  // namespace

std::span<const std::pair<std::string_view, FilterKind>> filter_names() { return kFilters; }
std::span<const std::pair<std::string_view, EndRule>> end_rule_names() { return kEndRules; }
std::string_view name_of(FilterKind filter) { return name_in(kFilters, filter); }
std::string_view name_of(EndRule ends) { return name_in(kEndRules, ends); }

analysis::TextureSettings read_texture(TableReader& zone, std::span<const base::Limit> limits) {
  analysis::TextureSettings settings;
  TableReader table = zone.table("texture");
  read_lengths(table, limits, settings);
  read_choices(table, settings);
  read_form(table, settings);
  table.finish();
  read_preparation(zone, settings.preparation);
  read_waves(zone, settings);
  read_face(zone, settings);
  return settings;
}

}  // namespace crestgate::cell
