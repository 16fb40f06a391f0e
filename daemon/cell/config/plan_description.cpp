// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plan_description.h"

#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <utility>

#include "analysis/texture/parameter_names.h"
#include "analysis/texture/texture_computation.h"
#include "daemon/cell/config/table_reader.h"

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
constexpr std::array<std::pair<std::string_view, analysis::FormKind>, 4> kForms = {{
    {"line", analysis::FormKind::kLine},
    {"arc", analysis::FormKind::kArc},
    {"polynomial", analysis::FormKind::kPolynomial},
    {"none", analysis::FormKind::kNone},
}};
constexpr std::array<std::pair<std::string_view, analysis::FilterKind>, 1> kFilters = {
    {{"gaussian", analysis::FilterKind::kGaussian}}};
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

analysis::TextureSettings read_texture(TableReader& zone) {
  analysis::TextureSettings settings;
  TableReader table = zone.table("texture");
  settings.lambda_s_mm = table.number("lambda_s_um", {0.0, 1000.0}) / 1000.0;
  settings.lambda_c_mm = table.number("lambda_c_mm", {0.001, 100.0});
  settings.sections = static_cast<int>(table.integer("sections", 1, 100));
  settings.filter = table.choice<analysis::FilterKind>("filter", kFilters);
  settings.form.kind = table.choice<analysis::FormKind>("form", kForms);
  if (settings.form.kind == analysis::FormKind::kPolynomial) {
    settings.form.degree = static_cast<int>(table.integer("form_degree", 1, 10));
  }
  if (settings.form.kind == analysis::FormKind::kArc) {
    settings.form.radius_mm = table.number_if_given("form_radius_mm", {0.01, 100000.0});
  }
  table.finish();
  if (auto waves = zone.table_if_given("waves")) {
    analysis::WaveBand band{};
    band.shortest_mm = waves->number("shortest_mm", {0.01, 1000.0});
    band.longest_mm = waves->number("longest_mm", {0.01, 1000.0});
    if (band.longest_mm <= band.shortest_mm) waves->complain("longest_mm", "expected more than shortest_mm");
    waves->finish();
    settings.waves = band;
  }
  return settings;
}

// The limits name their parameter; a material ratio also says at which reference and depth, and is added to
// the settings so that it is computed.
std::vector<base::Limit> read_limits(std::vector<TableReader>& tables, analysis::TextureSettings& settings) {
  std::vector<base::Limit> limits;
  for (TableReader& table : tables) {
    base::Limit limit;
    limit.symbol = table.text("parameter");
    if (limit.symbol == "Rmr") {
      const analysis::MaterialRatioAt at{.reference_percent = table.number("reference_percent", {0.0, 100.0}),
                                         .depth_um = table.number("depth_um", {0.0, 1000.0})};
      limit.symbol = analysis::material_ratio_symbol(at);
      settings.material_ratios.push_back(at);
    }
    limit.unit = table.text_if_given("unit").value_or("");
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
    bool known = false;
    std::string names;
    for (const analysis::ParameterName& name : computation->names()) {
      names += (names.empty() ? "" : ", ") + name.symbol;
      if (name.symbol != limit.symbol) continue;
      known = true;
      if (name.unit != limit.unit) {
        table.complain("unit",
                       limit.symbol + ": expected unit '" + name.unit + "', found '" + limit.unit + "'");
      }
    }
    if (!known)
      table.complain("parameter", "no parameter '" + limit.symbol + "'; these settings give: " + names);
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
    zone_plan.settings = read_texture(zone);
    auto limit_tables = zone.tables("limit");
    zone_plan.limits = read_limits(limit_tables, zone_plan.settings);
    zone.finish();
    // What stands in for a number that was refused may be no number to compute with.
    if (complaints.first()) return;
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
