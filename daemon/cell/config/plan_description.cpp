// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plan_description.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <utility>

#include "analysis/settings/class_fit.h"
#include "analysis/settings/parameter_alias.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/texture_computation.h"
#include "daemon/cell/config/table_reader.h"
#include "daemon/cell/config/texture_description.h"

namespace crestgate::cell {
namespace {

using base::AcceptanceRule;
using base::Fate;

constexpr std::array<std::pair<std::string_view, Fate>, 3> kRejectFates = {
    {{"quarantine", Fate::kQuarantine}, {"rework", Fate::kRework}, {"scrap", Fate::kScrap}}};
constexpr std::array<std::pair<std::string_view, Fate>, 2> kNoneFates = {
    {{"measure again", Fate::kMeasureAgain}, {"quarantine", Fate::kQuarantine}}};
constexpr std::array<std::pair<std::string_view, AcceptanceRule>, 3> kRules = {
    {{"Tmax", AcceptanceRule::kMaximum},
     {"T16%", AcceptanceRule::kSixteenPercent},
     {"Tmed", AcceptanceRule::kMedian}}};
constexpr std::array<std::pair<std::string_view, bool>, 2> kNeeds = {
    {{"required", true}, {"optional", false}}};

constexpr std::uint32_t kMostTraverses = 50;
constexpr std::size_t kMostZones = 64;
constexpr double kMostSamples = 1'000'000;  // 4 MB of heights; a longer pass is a mistake in the plan

ZoneTraverse read_traverse(TableReader& zone) {
  ZoneTraverse traverse;
  traverse.face_length_mm = zone.number("face_length_mm", {0.1, 1000.0});
  TableReader table = zone.table("traverse");
  traverse.length_mm = table.number("length_mm", {0.05, 1000.0});
  traverse.spacing_mm = table.number("spacing_um", {0.01, 100.0}) / 1000.0;
  traverse.speed_mm_per_s = table.number("speed_mm_per_s", {0.01, 50.0});
  if (traverse.length_mm > traverse.face_length_mm) {
    table.complain("length_mm", "the traverse is longer than the face (face_length_mm)");
  }
  if (traverse.length_mm / traverse.spacing_mm > kMostSamples) {
    table.complain("spacing_um", "the traverse would have more than a million samples");
  }
  table.finish();
  return traverse;
}

// "Rmr" with its numbers in keys of their own, or any symbol that resolve_parameter_name knows.
std::string read_symbol(TableReader& table) {
  std::string written = table.text("parameter");
  if (written.size() == 3 && written.ends_with("mr") && table.has("reference_percent")) {
    written = analysis::symbol_of({.profile = written.front(),
                                   .family = analysis::RatioFamily::kRatioAtDepth,
                                   .first = table.number("reference_percent", {0.0, 100.0}),
                                   .second = table.number("depth_um", {0.0, 1000.0})});
  }
  const auto resolved = analysis::resolve_parameter_name(written);
  if (!resolved) {
    table.complain("parameter", resolved.error().detail);
    return written;
  }
  return resolved->symbol;
}

std::vector<base::Limit> read_limits(std::vector<TableReader>& tables) {
  std::vector<base::Limit> limits;
  for (TableReader& table : tables) {
    base::Limit limit;
    limit.symbol = read_symbol(table);
    limit.unit = table.text_if_given("unit").value_or("");
    if (limit.unit == "\xC2\xB5m") limit.unit = "um";
    limit.lower = table.number_if_given("lower", {-1e6, 1e6});
    limit.upper = table.number_if_given("upper", {-1e6, 1e6});
    limit.rule = table.choice<AcceptanceRule>("rule", kRules);
    if (!limit.lower && !limit.upper)
      table.complain("parameter", "expected a lower or an upper limit, found neither");
    if (limit.lower && limit.upper && *limit.lower > *limit.upper) {
      table.complain("lower", "the lower limit is above the upper one");
    }
    table.finish();
    limits.push_back(std::move(limit));
  }
  return limits;
}

// A material ratio is computed because somebody limits it.
void add_ratios(std::span<const base::Limit> limits, analysis::TextureSettings& settings) {
  for (const base::Limit& limit : limits) {
    const auto resolved = analysis::resolve_parameter_name(limit.symbol);
    if (!resolved || !resolved->ratio) continue;
    if (std::ranges::find(settings.ratios, *resolved->ratio) == settings.ratios.end()) {
      settings.ratios.push_back(*resolved->ratio);
    }
  }
}

// A class says what it needs of a face; lengths that were stated one by one are checked as they are.
void check_class(TableReader& zone, const ZoneTraverse& traverse, const analysis::TextureSettings& settings) {
  if (settings.setting_class.empty()) return;
  const auto setting = analysis::setting_class_named(settings.setting_class);
  if (!setting) return;
  const auto fits = analysis::check_face(
      *setting, {.length_mm = traverse.length_mm, .spacing_um = traverse.spacing_mm * 1000.0});
  if (!fits) zone.complain("texture", "does not fit the traverse: " + fits.error().detail);
}

// Everything that needs the whole zone: do the settings fit the traverse, does each limit name a number that
// exists.
void check_zone(TableReader& zone, std::vector<TableReader>& limit_tables, const ZoneTraverse& traverse,
                const analysis::ZonePlan& plan) {
  const auto samples = static_cast<std::size_t>(std::llround(traverse.length_mm / traverse.spacing_mm)) + 1;
  const auto computation = analysis::TextureComputation::prepare(plan.settings, traverse.spacing_mm, samples);
  if (!computation.has_value()) {
    zone.complain("texture", "does not fit the traverse: " + computation.error().detail);
    return;
  }
  for (std::size_t i = 0; i < plan.limits.size(); ++i) {
    const base::Limit& limit = plan.limits[i];
    TableReader& table = limit_tables[i];
    const auto name = std::ranges::find(computation->names(), limit.symbol, &analysis::ParameterName::symbol);
    if (name == computation->names().end()) {
      table.complain("parameter", analysis::no_such_parameter(limit.symbol, plan.settings));
    } else if (name->unit != limit.unit) {
      table.complain("unit",
                     limit.symbol + ": expected unit '" + name->unit + "', found '" + limit.unit + "'");
    }
  }
  const analysis::PartPlan alone{.zones = {plan}};
  if (const auto outcome = analysis::check_plan(alone); !outcome.has_value()) {
    zone.complain("limit", outcome.error().detail);
  }
}

void read_zones(TableReader& root, const Complaints& complaints, PlanDescription& plan) {
  auto zones = root.tables("zone");
  if (zones.size() > kMostZones) root.complain("zone", "expected at most 64 zones");
  for (TableReader& zone : zones) {
    analysis::ZonePlan zone_plan;
    zone_plan.name = zone.text("name");
    for (const auto& earlier : plan.part_plan.zones) {
      if (earlier.name == zone_plan.name) zone.complain("name", "a zone of this name stands above already");
    }
    zone_plan.traverses = static_cast<std::uint32_t>(zone.integer("traverses", 1, kMostTraverses));
    const ZoneTraverse traverse = read_traverse(zone);
    auto limit_tables = zone.tables("limit");
    zone_plan.limits = read_limits(limit_tables);
    zone_plan.settings = read_texture(zone, zone_plan.limits);
    add_ratios(zone_plan.limits, zone_plan.settings);
    zone.finish();
    // What stands in for a number that was refused may be no number to compute with.
    if (complaints.first()) return;
    check_class(zone, traverse, zone_plan.settings);
    check_zone(zone, limit_tables, traverse, zone_plan);
    plan.traverses.push_back(traverse);
    plan.part_plan.zones.push_back(std::move(zone_plan));
  }
}

}  // namespace

base::Result<PlanDescription> read_plan(std::string_view text, const std::string& source) {
  auto document = parse_document(text, source);
  if (!document) return document.error();
  Complaints complaints(source);
  TableReader root(*document, "", complaints);
  PlanDescription plan;
  root.integer("format", 1, 1);
  plan.name = root.text("name");
  plan.part = root.text("part");
  TableReader stage = root.table("stage");
  plan.stage_number = static_cast<std::uint16_t>(stage.integer("number", 1, 65535));
  plan.stage_name = stage.text("name");
  stage.finish();
  plan.part_id_required = root.choice<bool>("part_id", kNeeds);
  plan.attempts_allowed = static_cast<std::uint32_t>(root.integer("attempts_allowed", 1, 1000));
  plan.on_reject = root.choice<Fate>("on_reject", kRejectFates);
  plan.on_none = root.choice<Fate>("on_none", kNoneFates);
  if (!complaints.first()) read_zones(root, complaints, plan);
  if (!complaints.first()) root.finish();
  if (complaints.first()) return *complaints.first();
  plan.document = {.kind = base::DocumentKind::kPlan,
                   .name = plan.name,
                   .source = std::filesystem::path(source).filename().string(),
                   .content = std::string(text),
                   .recorded_utc = {}};
  return plan;
}

base::Fate fate_of(const PlanDescription& plan, base::Verdict verdict) {
  switch (verdict) {
    case base::Verdict::kAccept:
      return Fate::kPass;
    case base::Verdict::kReject:
      return plan.on_reject;
    case base::Verdict::kNone:
      break;
  }
  return plan.on_none;
}

}  // namespace crestgate::cell
