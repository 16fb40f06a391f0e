// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/part_judge.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/judging/acceptance.h"
#include "analysis/judging/sentence.h"
#include "analysis/judging/trace_check.h"
#include "analysis/profile/counts.h"
#include "analysis/statistics/moments.h"
#include "analysis/texture/texture_computation.h"

namespace crestgate::analysis {
namespace {

// Shapes kept prepared: plans have a handful of zones, and each zone one or two shapes.
constexpr std::size_t kMostPrepared = 64;
constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

struct PreparedShape {
  std::uint32_t zone_index = 0;
  double spacing_mm = 0.0;
  TextureComputation computation;
};

struct ZoneOutcome {
  std::vector<std::vector<ParameterValue>> traces;  // of the usable traverses
  std::optional<Doubt> doubt;                       // the first one
};

void keep_first(std::optional<Doubt>& kept, Doubt found) {
  if (!kept) kept = std::move(found);
}

std::string counted(std::size_t count, const std::string& what) {
  return std::to_string(count) + " " + what + (count == 1 ? "" : "s");
}

}  // namespace

struct PartJudge::State {
  PartPlan plan;
  std::optional<std::string> plan_fault;
  std::vector<PreparedShape> prepared;
  Workspace workspace;
  std::vector<double> heights_um;

  base::Result<const TextureComputation*> computation_for(const TraceInput& trace);
  base::Result<std::vector<ParameterValue>> compute(const TraceInput& trace, Doubt& doubt);
  ZoneOutcome measure_zone(std::uint32_t zone_index, std::span<const TraceInput> traces);
};

base::Result<const TextureComputation*> PartJudge::State::computation_for(const TraceInput& trace) {
  const auto known = std::ranges::find_if(prepared, [&trace](const PreparedShape& shape) {
    return shape.zone_index == trace.zone_index && shape.spacing_mm == trace.spacing_mm &&
           shape.computation.sample_count() == trace.counts.size();
  });
  if (known != prepared.end()) return &known->computation;
  auto fresh = TextureComputation::prepare(plan.zones[trace.zone_index].settings, trace.spacing_mm,
                                           trace.counts.size());
  if (!fresh) return fresh.error();
  if (prepared.size() == kMostPrepared) prepared.erase(prepared.begin());
  prepared.push_back({trace.zone_index, trace.spacing_mm, std::move(*fresh)});
  return &prepared.back().computation;
}

// On an error, `doubt` says what it means for the part.
base::Result<std::vector<ParameterValue>> PartJudge::State::compute(const TraceInput& trace, Doubt& doubt) {
  if (auto found = doubt_from_quality(trace.quality)) {
    doubt = std::move(*found);
    return base::Error{base::ErrorCode::kNoData, doubt.detail};
  }
  heights_um.resize(trace.counts.size());
  if (const auto heights = heights_from_counts(trace.counts, trace.height_step_um, heights_um); !heights) {
    doubt = doubt_from_counts(heights.error());
    return heights.error();
  }
  if (auto found = doubt_from_standstill(trace.counts)) {
    doubt = std::move(*found);
    return base::Error{base::ErrorCode::kNoData, doubt.detail};
  }
  const auto computation = computation_for(trace);
  if (!computation) {
    doubt = doubt_from_computation(computation.error());
    return computation.error();
  }
  std::vector<ParameterValue> values((*computation)->names().size());
  if (const auto run = (*computation)->run(heights_um, workspace, values); !run) {
    doubt = doubt_from_computation(run.error());
    return run.error();
  }
  return values;
}

ZoneOutcome PartJudge::State::measure_zone(std::uint32_t zone_index, std::span<const TraceInput> traces) {
  const ZonePlan& zone = plan.zones[zone_index];
  ZoneOutcome outcome;
  std::size_t seen = 0;
  for (const TraceInput& trace : traces) {
    if (trace.zone_index != zone_index) continue;
    ++seen;
    Doubt doubt;
    auto values = compute(trace, doubt);
    if (values) {
      outcome.traces.push_back(std::move(*values));
    } else {
      doubt.detail = zone.name + ", traverse " + std::to_string(seen) + ": " + doubt.detail;
      keep_first(outcome.doubt, std::move(doubt));
    }
  }
  if (seen != zone.traverses) {
    // Fewer is a part not measured through; more is a mix-up, since repeats never replace evidence.
    keep_first(outcome.doubt,
               {seen < zone.traverses ? base::Reason::kTooFewValues : base::Reason::kInternalError,
                zone.name + " has " + counted(seen, "traverse") + ", the plan wants " +
                    std::to_string(zone.traverses)});
  }
  return outcome;
}

namespace {

// Everything that grows while the zones of a part are gone through.
struct Gathering {
  PartDecision decision;
  std::optional<Doubt> doubt;
  bool any_accepted = false;
  bool any_rejected = false;
  double least_margin = std::numeric_limits<double>::infinity();
  std::optional<std::uint32_t> nearest;      // result with the least margin
  std::optional<std::uint32_t> in_question;  // result that belongs to the doubt
};

base::ParameterResult blank_result(const ZonePlan& zone, const ParameterName& name,
                                   const ZoneOutcome& outcome, std::size_t parameter) {
  base::ParameterResult result;
  result.zone = zone.name;
  result.symbol = name.symbol;
  result.unit = name.unit;
  result.decided = kNaN;
  for (const auto& values : outcome.traces) {
    result.values.push_back(values[parameter].defined ? values[parameter].value : kNaN);
  }
  return result;
}

// Holds one result against one limit; a doubt about it lands in `gathering`.
void decide(const base::Limit& limit, const ZoneOutcome& outcome, base::ParameterResult& result,
            Gathering& gathering) {
  result.lower = limit.lower;
  result.upper = limit.upper;
  result.rule = limit.rule;
  const auto index = static_cast<std::uint32_t>(gathering.decision.results.size());
  const auto question = [&](base::Reason reason, std::string detail) {
    result.reason = reason;
    if (!gathering.doubt) gathering.in_question = index;
    keep_first(gathering.doubt, {reason, std::move(detail)});
  };
  if (outcome.doubt) {
    result.reason = outcome.doubt->reason;
    return;
  }
  if (std::ranges::any_of(result.values, [](double value) { return std::isnan(value); })) {
    question(base::Reason::kParameterUndefined,
             result.symbol + " does not exist on a trace of " + result.zone);
    return;
  }
  std::vector<double> values = result.values;
  const Acceptance held = hold_against(limit, values);
  if (held.verdict == base::Verdict::kNone) {
    question(held.reason, result.symbol + " on " + result.zone + ": " +
                              std::string(base::text_of(held.reason).sentence) + " (" +
                              counted(result.values.size(), "value") + ")");
    return;
  }
  result.decided = held.decided;
  result.verdict = held.verdict;
  result.reason = held.reason;
  (held.verdict == base::Verdict::kAccept ? gathering.any_accepted : gathering.any_rejected) = true;
  if (held.margin < gathering.least_margin) {
    gathering.least_margin = held.margin;
    gathering.nearest = index;
  }
}

void gather_zone(const ZonePlan& zone, const ZoneOutcome& outcome, Gathering& gathering) {
  if (outcome.doubt) keep_first(gathering.doubt, *outcome.doubt);
  const auto names = parameter_names(zone.settings);
  for (std::size_t parameter = 0; parameter < names.size(); ++parameter) {
    const base::ParameterResult blank = blank_result(zone, names[parameter], outcome, parameter);
    bool limited = false;
    for (const base::Limit& limit : zone.limits) {
      if (limit.symbol != names[parameter].symbol) continue;
      limited = true;
      base::ParameterResult result = blank;
      decide(limit, outcome, result, gathering);
      gathering.decision.results.push_back(std::move(result));
    }
    if (limited) continue;
    base::ParameterResult result = blank;
    if (!result.values.empty()) result.decided = mean_of(result.values);
    gathering.decision.results.push_back(std::move(result));
  }
}

PartDecision conclude(Gathering gathering) {
  PartDecision decision = std::move(gathering.decision);
  if (!gathering.doubt && !gathering.any_accepted && !gathering.any_rejected) {
    gathering.doubt = Doubt{base::Reason::kInternalError, "nothing was held against a limit"};
  }
  if (gathering.doubt) {
    decision.verdict = base::Verdict::kNone;
    decision.reason = gathering.doubt->reason;
    decision.detail = std::move(gathering.doubt->detail);
    decision.fate = base::Fate::kMeasureAgain;
    decision.deciding = gathering.in_question;
    return decision;
  }
  decision.verdict = gathering.any_rejected ? base::Verdict::kReject : base::Verdict::kAccept;
  decision.fate = gathering.any_rejected ? base::Fate::kQuarantine : base::Fate::kPass;
  decision.deciding = gathering.nearest;
  const base::ParameterResult& nearest = decision.results[*gathering.nearest];
  decision.reason = nearest.reason;
  decision.detail = sentence_about(nearest);
  return decision;
}

}  // namespace

PartJudge::PartJudge(PartPlan plan) : state_(std::make_unique<State>()) {
  state_->plan = std::move(plan);
  if (const auto checked = check_plan(state_->plan); !checked) state_->plan_fault = checked.error().detail;
}
PartJudge::~PartJudge() = default;
PartJudge::PartJudge(PartJudge&&) noexcept = default;
PartJudge& PartJudge::operator=(PartJudge&&) noexcept = default;

const PartPlan& PartJudge::plan() const { return state_->plan; }

PartDecision PartJudge::judge(std::span<const TraceInput> traces) {
  Gathering gathering;
  if (state_->plan_fault) {
    gathering.doubt = Doubt{base::Reason::kInternalError, *state_->plan_fault};
    return conclude(std::move(gathering));
  }
  const std::size_t zones = state_->plan.zones.size();
  for (const TraceInput& trace : traces) {
    if (trace.zone_index < zones) continue;
    keep_first(gathering.doubt, {base::Reason::kInternalError,
                                 "a trace is of zone " + std::to_string(trace.zone_index + std::uint64_t{1}) +
                                     ", the plan has " + counted(zones, "zone")});
  }
  for (std::uint32_t zone_index = 0; zone_index < zones; ++zone_index) {
    const ZoneOutcome outcome = state_->measure_zone(zone_index, traces);
    gather_zone(state_->plan.zones[zone_index], outcome, gathering);
  }
  return conclude(std::move(gathering));
}

}  // namespace crestgate::analysis
