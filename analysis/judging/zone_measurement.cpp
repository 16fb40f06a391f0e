// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/zone_measurement.h"

#include <algorithm>
#include <utility>

#include "analysis/face/face_length.h"
#include "analysis/judging/identity_check.h"
#include "analysis/profile/counts.h"
#include "analysis/texture/texture_computation.h"
#include "analysis/texture/value_doubts_of.h"
#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

// Shapes kept prepared: plans have a handful of zones, and each zone one or two shapes.
constexpr std::size_t kMostPrepared = 64;

struct PreparedShape {
  std::uint32_t zone_index = 0;
  double spacing_mm = 0.0;
  TextureComputation computation;
  std::optional<FaceLength> face_length;  // where the plan's part has one in its identity
};

bool needs_waves_or_form(const ZonePlan& zone) {
  return zone.identity.are_asked() || std::ranges::any_of(zone.limits, [](const base::Limit& limit) {
           return needs_skidless_pickup(limit.symbol);
         });
}

std::vector<std::string> judged_symbols(const ZonePlan& zone) {
  std::vector<std::string> symbols;
  for (const ParameterName& name : routine_names(zone.settings)) symbols.push_back(name.symbol);
  for (const base::Limit& limit : zone.limits) symbols.push_back(limit.symbol);
  return symbols;
}

}  // namespace

struct ZoneMeasurement::State {
  std::vector<PreparedShape> prepared;
  Workspace workspace;
  FaceLengthWorkspace face;
  std::vector<double> heights_um;

  base::Result<const PreparedShape*> shape_for(const ZonePlan& zone, const TraceInput& trace);
  base::Result<std::vector<Finding>> compute(const ZonePlan& zone, const TraceInput& trace, Doubt& doubt);
  std::optional<std::string> stranger(const ZonePlan& zone, const TraceInput& trace);
};

base::Result<const PreparedShape*> ZoneMeasurement::State::shape_for(const ZonePlan& zone,
                                                                     const TraceInput& trace) {
  const auto known = std::ranges::find_if(prepared, [&trace](const PreparedShape& shape) {
    return shape.zone_index == trace.zone_index && shape.spacing_mm == trace.spacing_mm &&
           shape.computation.sample_count() == trace.counts.size();
  });
  if (known != prepared.end()) return &*known;
  auto fresh =
      TextureComputation::prepare(zone.settings, trace.spacing_mm, trace.counts.size(), judged_symbols(zone));
  if (!fresh) return fresh.error();
  std::optional<FaceLength> face_length;
  if (zone.identity.face_length_mm) {
    const auto made =
        FaceLength::prepare({.spacing_mm = fresh->spacing_mm(), .sample_count = fresh->prepared_count()});
    if (!made) return made.error();
    face_length = *made;
  }
  if (prepared.size() == kMostPrepared) prepared.erase(prepared.begin());
  prepared.push_back({trace.zone_index, trace.spacing_mm, std::move(*fresh), face_length});
  return &prepared.back();
}

// Pre       this trace was computed last.
std::optional<std::string> ZoneMeasurement::State::stranger(const ZonePlan& zone, const TraceInput& trace) {
  if (!zone.identity.are_asked()) return std::nullopt;
  const auto shape = shape_for(zone, trace);
  if (!shape) return shape.error().detail;
  MeasuredFace measured{.form = workspace.form(), .length = {}};
  if ((*shape)->face_length) measured.length = (*shape)->face_length->measure(workspace.primary_um(), face);
  return why_not_this_part(zone.identity, measured, (*shape)->computation.layout(),
                           zone.settings.lambda_c_mm);
}

// On an error, `doubt` says what it means for the part.
base::Result<std::vector<Finding>> ZoneMeasurement::State::compute(const ZonePlan& zone,
                                                                   const TraceInput& trace, Doubt& doubt) {
  const auto refuse = [&doubt](Doubt found) {
    doubt = std::move(found);
    return base::Error{base::ErrorCode::kNoData, doubt.detail};
  };
  if (trace.pickup == base::Pickup::kSkidded && needs_waves_or_form(zone)) {
    return refuse(
        {base::Reason::kPickupSkidded, std::string(base::text_of(base::Reason::kPickupSkidded).sentence)});
  }
  const bool may_bridge = zone.settings.preparation.bridge_um > 0.0;
  const std::uint32_t excused = may_bridge ? base::kQualityMissing | base::kQualityOverRange : 0U;
  if (auto found = doubt_from_quality(trace.quality, excused)) return refuse(std::move(*found));
  heights_um.resize(trace.counts.size());
  CountGaps gaps;
  if (may_bridge) {
    const auto found = heights_with_gaps(trace.counts, trace.height_step_um, heights_um);
    if (!found) return refuse(doubt_from_counts(found.error()));
    gaps = *found;
  } else if (const auto whole = heights_from_counts(trace.counts, trace.height_step_um, heights_um); !whole) {
    return refuse(doubt_from_counts(whole.error()));
  }
  if (auto found = doubt_from_standstill(trace.counts)) return refuse(std::move(*found));
  const auto shape = shape_for(zone, trace);
  if (!shape) return refuse(doubt_from_computation(shape.error()));
  const TextureComputation& computation = (*shape)->computation;
  const std::size_t parameters = computation.names().size();
  std::vector<ParameterValue> values(parameters);
  const DoubtSet of_gauge =
      doubts_of_gauge({.pickup = trace.pickup, .tip_radius_um = trace.tip_radius_um}, zone.settings);
  if (const auto run = computation.run(heights_um, workspace, values, of_gauge); !run) {
    if (run.error().code != base::ErrorCode::kNoData) return refuse(doubt_from_computation(run.error()));
    const bool only_over_range = gaps.missing == 0 && gaps.over_range > 0;
    return refuse({only_over_range ? base::Reason::kTraceOverRange : base::Reason::kTraceMissingSamples,
                   run.error().detail});
  }
  std::vector<Finding> findings(parameters);
  for (std::size_t i = 0; i < parameters; ++i) {
    findings[i].value = values[i];
    const auto sections = computation.section_values(i, workspace);
    findings[i].sections.assign(sections.begin(), sections.end());
  }
  return findings;
}

ZoneMeasurement::ZoneMeasurement() : state_(std::make_unique<State>()) {}
ZoneMeasurement::~ZoneMeasurement() = default;
ZoneMeasurement::ZoneMeasurement(ZoneMeasurement&&) noexcept = default;
ZoneMeasurement& ZoneMeasurement::operator=(ZoneMeasurement&&) noexcept = default;

ZoneOutcome ZoneMeasurement::measure(const PartPlan& plan, std::uint32_t zone_index,
                                     std::span<const TraceInput> traces) {
  const ZonePlan& zone = plan.zones[zone_index];
  ZoneOutcome outcome;
  const auto keep_first = [&outcome](Doubt found) {
    if (!outcome.doubt) outcome.doubt = std::move(found);
  };
  std::size_t seen = 0;
  for (const TraceInput& trace : traces) {
    if (trace.zone_index != zone_index) continue;
    ++seen;
    Doubt doubt;
    auto findings = state_->compute(zone, trace, doubt);
    if (findings) {
      outcome.traces.push_back(std::move(*findings));
      if (auto why = outcome.stranger ? std::nullopt : state_->stranger(zone, trace)) {
        const std::string which = zone.traverses > 1 ? ", traverse " + std::to_string(seen) : "";
        outcome.stranger =
            Doubt{base::Reason::kNotThisPart, "zone '" + zone.name + "'" + which + ": " + *why};
      }
    } else {
      doubt.detail = zone.name + ", traverse " + std::to_string(seen) + ": " + doubt.detail;
      keep_first(std::move(doubt));
    }
  }
  if (seen != zone.traverses) {
    // Fewer is a part not measured through; more is a mix-up, since repeats never replace evidence.
    keep_first({seen < zone.traverses ? base::Reason::kTooFewValues : base::Reason::kInternalError,
                zone.name + " has " + std::to_string(seen) + (seen == 1 ? " traverse" : " traverses") +
                    ", the plan wants " + std::to_string(zone.traverses)});
  }
  // A computation of this zone knows its names; listing them anew takes longer than some families of numbers.
  const auto known = std::ranges::find(state_->prepared, zone_index, &PreparedShape::zone_index);
  if (known != state_->prepared.end()) {
    outcome.names.assign(known->computation.names().begin(), known->computation.names().end());
  } else {
    outcome.names = selected_names(zone.settings, judged_symbols(zone));
  }
  return outcome;
}

}  // namespace crestgate::analysis
