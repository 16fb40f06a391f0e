// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/part_judge.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/judging/acceptance.h"
#include "analysis/judging/sentence.h"
#include "analysis/judging/zone_measurement.h"
#include "analysis/statistics/moments.h"
#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

void keep_first(std::optional<Doubt>& kept, Doubt found) {
  if (!kept) kept = std::move(found);
}

std::string counted(std::size_t count, const std::string& what) {
  return std::to_string(count) + " " + what + (count == 1 ? "" : "s");
}

// Everything that grows while the zones of a part are gone through.
struct Gathering {
  PartDecision decision;
  std::optional<Doubt> doubt;
  std::optional<Doubt> broken;    // the first doubt about a trace or the plan, before any number of it
  std::optional<Doubt> stranger;  // the first face that is not that of the plan's part
  std::optional<Doubt> unseen;    // cannot be accepted, but does not save a part that breaks another limit
  std::uint32_t unseen_index = 0;
  bool any_accepted = false;
  bool any_rejected = false;
  double least_margin = std::numeric_limits<double>::infinity();
  std::optional<std::uint32_t> nearest;      // result with the least margin
  std::optional<std::uint32_t> in_question;  // result that belongs to the doubt
};

void distrust_traces(Gathering& gathering, Doubt found) {
  keep_first(gathering.broken, found);
  keep_first(gathering.doubt, std::move(found));
}

base::ParameterResult blank_result(const ZonePlan& zone, const ZoneOutcome& outcome, std::size_t parameter) {
  base::ParameterResult result;
  result.zone = zone.name;
  result.symbol = outcome.names[parameter].symbol;
  result.unit = outcome.names[parameter].unit;
  result.decided = kNaN;
  for (const auto& findings : outcome.traces) {
    const Finding& finding = findings[parameter];
    if (finding.sections.empty()) {
      result.values.push_back(finding.value.defined ? finding.value.value : kNaN);
    } else {
      result.values.insert(result.values.end(), finding.sections.begin(), finding.sections.end());
    }
  }
  return result;
}

// The first reason why a limit must not be held against this parameter.
std::optional<std::string> distrust(const ZoneOutcome& outcome, std::size_t parameter) {
  for (const auto& findings : outcome.traces) {
    const ParameterValue& value = findings[parameter].value;
    for (std::uint32_t bit = 0; bit < kValueDoubts; ++bit) {
      const auto doubt = static_cast<ValueDoubt>(1U << bit);
      if (value.doubts.has(doubt) && !(DoubtSet(doubt) & kForbiddingDoubts).empty()) {
        return std::string(text_of(doubt).sentence);
      }
    }
  }
  return std::nullopt;
}

// The values with every one of them at one end of where it may lie.
std::vector<double> at_one_end(const ZoneOutcome& outcome, std::size_t parameter, bool most) {
  std::vector<double> values;
  for (const auto& findings : outcome.traces) {
    const Finding& finding = findings[parameter];
    if (finding.sections.empty()) {
      values.push_back(most ? finding.value.most : finding.value.least);
    } else {
      values.insert(values.end(), finding.sections.begin(), finding.sections.end());
    }
  }
  return values;
}

// Why the limit can neither be kept nor broken for sure: the verdict hangs on where the true value lies.
std::optional<std::string> undecided(const base::Limit& limit, const Acceptance& held,
                                     const ZoneOutcome& outcome, std::size_t parameter) {
  std::vector<double> least = at_one_end(outcome, parameter, false);
  std::vector<double> most = at_one_end(outcome, parameter, true);
  if (hold_against(limit, least).verdict == held.verdict &&
      hold_against(limit, most).verdict == held.verdict) {
    return std::nullopt;
  }
  const double lowest = *std::ranges::min_element(least);
  const double highest = *std::ranges::max_element(most);
  const std::string bound = shortest(held.decided_by_upper ? *limit.upper : *limit.lower);
  return "on this trace it may be anything from " + fixed(lowest, 2) + " to " + fixed(highest, 2) + " " +
         limit.unit + ", the limit " + bound + " lies between";
}

// Holds one result against one limit; a doubt about it lands in `gathering`.
void decide(const base::Limit& limit, const ZoneOutcome& outcome, std::size_t parameter,
            base::ParameterResult& result, Gathering& gathering) {
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
  if (outcome.stranger) {
    result.reason = outcome.stranger->reason;
    return;
  }
  if (std::ranges::any_of(result.values, [](double value) { return std::isnan(value); })) {
    question(base::Reason::kParameterUndefined,
             result.symbol + " does not exist on a trace of " + result.zone);
    return;
  }
  if (auto why = distrust(outcome, parameter)) {
    question(base::Reason::kValueUncertain, result.symbol + " on " + result.zone + ": " + *why);
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
  if (auto why = undecided(limit, held, outcome, parameter)) {
    result.reason = base::Reason::kValueUncertain;
    if (!gathering.unseen) {
      gathering.unseen = Doubt{result.reason, result.symbol + " on " + result.zone + ": " + *why};
      gathering.unseen_index = index;
    }
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
  if (outcome.doubt) distrust_traces(gathering, *outcome.doubt);
  if (outcome.stranger) keep_first(gathering.stranger, *outcome.stranger);
  for (std::size_t parameter = 0; parameter < outcome.names.size(); ++parameter) {
    const base::ParameterResult blank = blank_result(zone, outcome, parameter);
    bool limited = false;
    for (const base::Limit& limit : zone.limits) {
      if (limit.symbol != blank.symbol) continue;
      limited = true;
      base::ParameterResult result = blank;
      decide(limit, outcome, parameter, result, gathering);
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
  if (!gathering.doubt && !gathering.unseen && !gathering.any_accepted && !gathering.any_rejected) {
    gathering.doubt = Doubt{base::Reason::kInternalError, "nothing was held against a limit"};
  }
  if (!gathering.doubt && !gathering.any_rejected && gathering.unseen) {
    gathering.doubt = std::move(gathering.unseen);
    gathering.in_question = gathering.unseen_index;
  }
  if (gathering.stranger) {
    // Numbers of another part say nothing, and a trace that cannot be used does not tell whose it is.
    gathering.doubt = std::move(gathering.broken ? gathering.broken : gathering.stranger);
    gathering.in_question.reset();
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

struct PartJudge::State {
  PartPlan plan;
  std::optional<std::string> plan_fault;
  ZoneMeasurement measurement;
};

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
    distrust_traces(gathering, {base::Reason::kInternalError, *state_->plan_fault});
    return conclude(std::move(gathering));
  }
  const std::size_t zones = state_->plan.zones.size();
  for (const TraceInput& trace : traces) {
    if (trace.zone_index < zones) continue;
    distrust_traces(gathering, {base::Reason::kInternalError,
                                "a trace is of zone " + std::to_string(trace.zone_index + std::uint64_t{1}) +
                                    ", the plan has " + counted(zones, "zone")});
  }
  for (std::uint32_t zone_index = 0; zone_index < zones; ++zone_index) {
    const ZoneOutcome outcome = state_->measurement.measure(state_->plan, zone_index, traces);
    gather_zone(state_->plan.zones[zone_index], outcome, gathering);
  }
  return conclude(std::move(gathering));
}

}  // namespace crestgate::analysis
