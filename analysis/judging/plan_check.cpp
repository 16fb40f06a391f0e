// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/judging/acceptance.h"
#include "analysis/judging/part_plan.h"
#include "analysis/text/number_text.h"
#include "analysis/texture/parameter_names.h"

namespace crestgate::analysis {
namespace {

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

bool is_known(base::AcceptanceRule rule) {
  switch (rule) {
    case base::AcceptanceRule::kMaximum:
    case base::AcceptanceRule::kSixteenPercent:
    case base::AcceptanceRule::kMedian:
      return true;
  }
  return false;
}

base::Outcome check_bounds(const base::Limit& limit, const std::string& where) {
  if (!limit.lower && !limit.upper) return invalid(where + " has neither a lower nor an upper limit");
  for (const auto& bound : {limit.lower, limit.upper}) {
    if (bound && !std::isfinite(*bound)) return invalid(where + " has a limit that is not a finite number");
  }
  if (limit.lower && limit.upper && *limit.lower > *limit.upper) {
    return invalid(where + " has its lower limit " + shortest(*limit.lower) + " above its upper limit " +
                   shortest(*limit.upper));
  }
  return base::Done{};
}

base::Outcome check_limit(const base::Limit& limit, const ZonePlan& zone,
                          const std::vector<ParameterName>& names) {
  const std::string where = "zone '" + zone.name + "': " + limit.symbol;
  const auto name = std::ranges::find(names, limit.symbol, &ParameterName::symbol);
  if (name == names.end()) {
    return invalid("zone '" + zone.name + "': " + no_such_parameter(limit.symbol, zone.settings));
  }
  if (follows_from_the_plan(limit.symbol)) {
    return invalid(where + " follows from the plan alone: a limit on it would judge nothing");
  }
  if (limit.unit != name->unit) {
    return invalid(where + " is computed in '" + name->unit + "', its limit is in '" + limit.unit + "'");
  }
  if (auto bounds = check_bounds(limit, where); !bounds) return bounds;
  if (!is_known(limit.rule)) return invalid(where + " has an unknown acceptance rule");
  const std::size_t sections =
      is_taken_in_sections(limit.symbol) ? static_cast<std::size_t>(zone.settings.sections) : 1;
  if (limit.rule == base::AcceptanceRule::kMedian && zone.traverses * sections < kFewestForMedianRule) {
    return invalid(where + " is held by the median rule, which needs at least " +
                   std::to_string(kFewestForMedianRule) + " values, the zone has " +
                   std::to_string(zone.traverses) + (zone.traverses == 1 ? " traverse" : " traverses"));
  }
  return base::Done{};
}

base::Outcome check_zone(const ZonePlan& zone) {
  if (zone.name.empty()) return invalid("a zone has no name");
  if (zone.traverses == 0) return invalid("zone '" + zone.name + "' has no traverse");
  if (zone.limits.empty()) {
    return invalid("zone '" + zone.name + "' has no limit, so no part could be accepted on it");
  }
  if (const auto settings = check_settings(zone.settings); !settings) {
    return invalid("zone '" + zone.name + "': " + settings.error().detail);
  }
  if (const auto identity = check_identity(zone.identity, zone.settings); !identity) {
    return invalid("zone '" + zone.name + "': " + identity.error().detail);
  }
  const auto names = parameter_names(zone.settings);
  for (const base::Limit& limit : zone.limits) {
    if (auto checked = check_limit(limit, zone, names); !checked) return checked;
  }
  return base::Done{};
}

}  // namespace

base::Outcome check_plan(const PartPlan& plan) {
  if (plan.zones.empty()) return invalid("the plan has no zone");
  for (auto zone = plan.zones.begin(); zone != plan.zones.end(); ++zone) {
    if (auto checked = check_zone(*zone); !checked) return checked;
    if (std::any_of(plan.zones.begin(), zone,
                    [&](const ZonePlan& other) { return other.name == zone->name; })) {
      return invalid("two zones have the name '" + zone->name + "'");
    }
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
