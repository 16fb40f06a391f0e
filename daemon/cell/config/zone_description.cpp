// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/zone_description.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "analysis/face/face_length.h"
#include "analysis/settings/class_fit.h"
#include "analysis/settings/parameter_alias.h"
#include "analysis/text/number_text.h"
#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/texture_computation.h"
#include "daemon/cell/config/limit_description.h"
#include "daemon/cell/config/texture_description.h"

namespace crestgate::cell {
namespace {

using analysis::fixed;
using analysis::shortest;

constexpr std::uint32_t kMostTraverses = 50;
constexpr std::size_t kMostZones = 64;
constexpr double kMostSamples = 1'000'000;  // 4 MB of heights; a longer pass is a mistake in the plan
constexpr NumberRange kFaceLengths{0.1, 1000.0};

// A traverse that measures the length of its face runs over both edges.
ZoneTraverse read_traverse(TableReader& zone, bool over_the_edges) {
  ZoneTraverse traverse;
  traverse.gauge = zone.text_if_given("gauge").value_or("");
  traverse.face_length_mm = zone.number("face_length_mm", kFaceLengths);
  TableReader table = zone.table("traverse");
  traverse.length_mm = table.number("length_mm", {0.05, 1000.0});
  traverse.spacing_mm = table.number("spacing_um", {0.01, 100.0}) / 1000.0;
  traverse.speed_mm_per_s = table.number("speed_mm_per_s", {0.01, 50.0});
  if (traverse.length_mm > traverse.face_length_mm && !over_the_edges) {
    table.complain("length_mm", "the traverse is longer than the face (face_length_mm)");
  }
  if (traverse.length_mm / traverse.spacing_mm > kMostSamples) {
    table.complain("spacing_um", "the traverse would have more than a million samples");
  }
  table.finish();
  return traverse;
}

std::optional<analysis::Band> read_band(TableReader& table, std::string_view key, NumberRange range) {
  const auto span = table.span_if_given(key, range);
  if (!span) return std::nullopt;
  return analysis::Band{.lowest = span->lowest, .highest = span->highest};
}

analysis::IdentityBands read_identity(TableReader& zone) {
  analysis::IdentityBands bands;
  auto table = zone.table_if_given("identity");
  if (!table) return bands;
  bands.radius_mm = read_band(*table, "radius_mm", {0.01, 100000.0});
  bands.face_length_mm = read_band(*table, "face_length_mm", kFaceLengths);
  table->finish();
  if (!bands.are_asked()) zone.complain("identity", "expected radius_mm, face_length_mm or both");
  return bands;
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

// Where the traverse runs over the edges, only the face between them can be measured.
double measurable_mm(const ZoneTraverse& traverse, const analysis::IdentityBands& bands) {
  return bands.face_length_mm ? std::min(traverse.length_mm, bands.face_length_mm->lowest)
                              : traverse.length_mm;
}

std::size_t samples_on(double length_mm, double spacing_mm) {
  return static_cast<std::size_t>(std::llround(length_mm / spacing_mm)) + 1;
}

// A class says what it needs of a face; lengths that were stated one by one are checked as they are.
void check_class(TableReader& zone, const ZoneTraverse& traverse, const analysis::ZonePlan& plan) {
  const analysis::TextureSettings& settings = plan.settings;
  if (settings.setting_class.empty()) return;
  const auto setting = analysis::setting_class_named(settings.setting_class);
  if (!setting) return;
  const auto fits = analysis::check_face(*setting, {.length_mm = measurable_mm(traverse, plan.identity),
                                                    .spacing_um = traverse.spacing_mm * 1000.0});
  if (!fits) zone.complain("texture", "does not fit the traverse: " + fits.error().detail);
}

void check_face_length(TableReader& zone, const ZoneTraverse& traverse, const analysis::ZonePlan& plan) {
  const analysis::Band& band = *plan.identity.face_length_mm;
  const double needed_mm = band.highest + 2.0 * analysis::kFallenMm;
  if (traverse.length_mm < needed_mm) {
    zone.complain("identity", "the traverse of " + shortest(traverse.length_mm) +
                                  " mm does not show both edges of a face of " + shortest(band.highest) +
                                  " mm: expected at least " + fixed(needed_mm, 1) + " mm");
  }
  if (plan.settings.waves || plan.settings.face) {
    zone.complain(plan.settings.waves ? "waves" : "face",
                  "expected a traverse that stays on the face, this one runs over its edges");
  }
  const double spacing_mm = plan.settings.preparation.resampled_spacing_mm.value_or(traverse.spacing_mm);
  const auto layout = analysis::lay_out(
      plan.settings, {.spacing_mm = spacing_mm, .sample_count = samples_on(band.lowest, spacing_mm)});
  if (!layout)
    zone.complain("texture", "does not fit the shortest face of the band: " + layout.error().detail);
}

void check_identity(TableReader& zone, const ZoneTraverse& traverse, const analysis::ZonePlan& plan) {
  if (const auto fits = analysis::check_identity(plan.identity, plan.settings); !fits) {
    zone.complain("identity", fits.error().detail);
  }
  if (plan.identity.face_length_mm) check_face_length(zone, traverse, plan);
}

// Everything that needs the whole zone: do the settings fit the traverse, does each limit name a number that
// exists.
void check_zone(TableReader& zone, std::vector<TableReader>& limit_tables, const ZoneTraverse& traverse,
                const analysis::ZonePlan& plan) {
  const auto samples = samples_on(traverse.length_mm, traverse.spacing_mm);
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

}  // namespace

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
    zone_plan.identity = read_identity(zone);
    const ZoneTraverse traverse = read_traverse(zone, zone_plan.identity.face_length_mm.has_value());
    auto limit_tables = zone.tables("limit");
    zone_plan.limits = read_limits(limit_tables);
    zone_plan.settings = read_texture(zone, zone_plan.limits);
    add_ratios(zone_plan.limits, zone_plan.settings);
    zone.finish();
    // What stands in for a number that was refused may be no number to compute with.
    if (complaints.first()) return;
    check_class(zone, traverse, zone_plan);
    check_identity(zone, traverse, zone_plan);
    check_zone(zone, limit_tables, traverse, zone_plan);
    plan.traverses.push_back(traverse);
    plan.part_plan.zones.push_back(std::move(zone_plan));
  }
}

}  // namespace crestgate::cell
