// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/part_judge.h"

#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/parameter_names.h"
#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

using base::Fate;
using base::Reason;
using base::Verdict;
using testing::HasSubstr;

constexpr double kSpacing = 0.0005;
constexpr double kStep = 0.0001;
constexpr std::size_t kCount = 11200;

base::Limit upper(const std::string& symbol, const std::string& unit, double bound) {
  return {.symbol = symbol,
          .unit = unit,
          .lower = std::nullopt,
          .upper = bound,
          .rule = base::AcceptanceRule::kMaximum};
}

PartPlan one_zone() {
  ZonePlan zone;
  zone.name = "crest A";
  zone.limits = {upper("Ra", "um", 0.4)};
  return {.zones = {zone}};
}

// A sine of amplitude a has Ra = 2 a / pi.
std::vector<std::int32_t> counts_with_ra(double ra_um) {
  std::vector<std::int32_t> counts(kCount);
  for (std::size_t i = 0; i < kCount; ++i) {
    const double z = ra_um * profiles::kPi / 2.0 * profiles::sine(static_cast<double>(i) * kSpacing, 0.1);
    counts[i] = static_cast<std::int32_t>(std::lround(z / kStep));
  }
  return counts;
}

TraceInput trace_of(const std::vector<std::int32_t>& counts, std::uint32_t zone_index = 0) {
  return {.zone_index = zone_index,
          .spacing_mm = kSpacing,
          .height_step_um = kStep,
          .counts = counts,
          .quality = 0};
}

TEST(PartJudge, AcceptsAPartThatKeepsEveryLimit) {
  const auto counts = counts_with_ra(0.3);
  const TraceInput traces[] = {trace_of(counts)};
  PartJudge judge(one_zone());
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kAccept);
  EXPECT_EQ(decision.reason, Reason::kAllWithinLimits);
  EXPECT_EQ(decision.fate, Fate::kPass);
  EXPECT_EQ(decision.detail, "closest to its limit: Ra 0.30 um on crest A, at most 0.40 um");
  ASSERT_TRUE(decision.deciding.has_value());
  const base::ParameterResult& deciding = decision.results[*decision.deciding];
  EXPECT_EQ(deciding.symbol, "Ra");
  EXPECT_NEAR(deciding.decided, 0.3, 1e-3);
  EXPECT_EQ(deciding.verdict, Verdict::kAccept);
  EXPECT_EQ(decision.results.size(), routine_names(one_zone().zones[0].settings).size());
}

TEST(PartJudge, RejectsAPartThatBreaksALimit) {
  const auto counts = counts_with_ra(0.52);
  const TraceInput traces[] = {trace_of(counts)};
  PartJudge judge(one_zone());
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kReject);
  EXPECT_EQ(decision.reason, Reason::kAboveUpperLimit);
  EXPECT_EQ(decision.fate, Fate::kQuarantine);
  EXPECT_EQ(decision.detail, "Ra 0.52 um on crest A is above its upper limit 0.40 um");
}

TEST(PartJudge, RejectsBelowALowerLimit) {
  PartPlan plan = one_zone();
  plan.zones[0].limits[0].lower = 0.2;
  const auto counts = counts_with_ra(0.1);
  const TraceInput traces[] = {trace_of(counts)};
  PartJudge judge(plan);
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kReject);
  EXPECT_EQ(decision.reason, Reason::kBelowLowerLimit);
}

TEST(PartJudge, TheFurthestBrokenLimitDecides) {
  PartPlan plan = one_zone();
  plan.zones[0].limits.push_back(upper("Rz", "um", 0.8));  // Rz = pi Ra of a sine: 1.63, twice its limit
  plan.zones[0].limits.push_back(upper("Rq", "um", 5.0));  // kept
  const auto counts = counts_with_ra(0.52);
  const TraceInput traces[] = {trace_of(counts)};
  PartJudge judge(plan);
  const PartDecision decision = judge.judge(traces);
  ASSERT_TRUE(decision.deciding.has_value());
  EXPECT_EQ(decision.results[*decision.deciding].symbol, "Rz");
  EXPECT_THAT(decision.detail, HasSubstr("Rz 1.63 um on crest A is above its upper limit 0.80 um"));
}

struct DoubtRow {
  const char* name;
  std::function<void(PartPlan&, TraceInput&, std::vector<std::int32_t>&)> spoil;
  Reason reason;
  const char* words;
};

TEST(PartJudge, AnyDoubtIsNeverGreen) {
  const DoubtRow rows[] = {
      {"missing sample",
       [](PartPlan&, TraceInput&, std::vector<std::int32_t>& c) { c[5] = base::kMissingCount; },
       Reason::kTraceMissingSamples, "crest A, traverse 1: sample 5"},
      {"over range",
       [](PartPlan&, TraceInput&, std::vector<std::int32_t>& c) { c[6] = base::kOverRangeCount; },
       Reason::kTraceOverRange, "sample 6"},
      {"flag missing",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.quality = base::kQualityMissing; },
       Reason::kTraceMissingSamples, "missing"},
      {"flag over range",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.quality = base::kQualityOverRange; },
       Reason::kTraceOverRange, "range"},
      {"flag lifted",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.quality = base::kQualityStylusLifted; },
       Reason::kStylusLifted, "contact"},
      {"flag speed",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.quality = base::kQualitySpeedUnsteady; },
       Reason::kSpeedUnsteady, "speed"},
      {"flag vibration",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) {
         t.quality = base::kQualityVibration | base::kQualityResent;
       },
       Reason::kVibration, "shaking"},
      {"empty", [](PartPlan&, TraceInput&, std::vector<std::int32_t>& c) { c.clear(); },
       Reason::kTraceMissingSamples, "no sample"},
      {"too short", [](PartPlan&, TraceInput&, std::vector<std::int32_t>& c) { c.resize(8000); },
       Reason::kTraceTooShort, "4.8 mm"},
      {"too coarse", [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.spacing_mm = 0.001; },
       Reason::kTraceWrongSpacing, "lambda_s"},
      {"spacing nan",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.spacing_mm = std::nan(""); },
       Reason::kTraceWrongSpacing, "spacing"},
      {"spacing zero", [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.spacing_mm = 0.0; },
       Reason::kTraceWrongSpacing, "spacing"},
      {"step nan",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.height_step_um = std::nan(""); },
       Reason::kTraceNotFinite, "height step"},
      {"step infinite",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) {
         t.height_step_um = std::numeric_limits<double>::infinity();
       },
       Reason::kTraceNotFinite, "height step"},
      {"heights too large to square",
       [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.height_step_um = 1e300; },
       Reason::kTraceNotFinite, "is no surface"},
      {"too few traverses",
       [](PartPlan& p, TraceInput&, std::vector<std::int32_t>&) { p.zones[0].traverses = 2; },
       Reason::kTooFewValues, "1 traverse, the plan wants 2"},
      {"no such zone", [](PartPlan&, TraceInput& t, std::vector<std::int32_t>&) { t.zone_index = 3; },
       Reason::kInternalError, "zone 4, the plan has 1 zone"},
      {"stuck from the middle on",
       [](PartPlan&, TraceInput&, std::vector<std::int32_t>& c) {
         std::fill(c.begin() + static_cast<std::ptrdiff_t>(c.size() / 2), c.end(), c[c.size() / 2]);
       },
       Reason::kStylusStuck, "5600 samples from sample 5600 on"},
      {"undefined parameter",
       [](PartPlan& p, TraceInput&, std::vector<std::int32_t>& c) {
         p.zones[0].settings.waves = WaveBand{.shortest_mm = 0.8, .longest_mm = 5.0};
         p.zones[0].limits = {upper("WaveSpacing", "mm", 9.0)};
         for (std::size_t i = 0; i < c.size(); ++i) c[i] = static_cast<std::int32_t>(i % 2);
       },
       Reason::kParameterUndefined, "WaveSpacing does not exist on a trace of crest A"},
      {"no limits", [](PartPlan& p, TraceInput&, std::vector<std::int32_t>&) { p.zones[0].limits.clear(); },
       Reason::kInternalError, "no limit"},
      {"no zones", [](PartPlan& p, TraceInput&, std::vector<std::int32_t>&) { p.zones.clear(); },
       Reason::kInternalError, "no zone"},
      {"wrong symbol",
       [](PartPlan& p, TraceInput&, std::vector<std::int32_t>&) { p.zones[0].limits[0].symbol = "Rx"; },
       Reason::kInternalError, "Rx"},
      {"nan limit",
       [](PartPlan& p, TraceInput&,
          std::vector<std::int32_t>&) { p.zones[0].limits[0].upper = std::nan(""); },
       Reason::kInternalError, "finite"},
  };
  for (const DoubtRow& row : rows) {
    PartPlan plan = one_zone();
    std::vector<std::int32_t> counts = counts_with_ra(0.1);
    TraceInput trace = trace_of(counts);
    row.spoil(plan, trace, counts);
    trace.counts = counts;
    PartJudge judge(plan);
    const PartDecision decision = judge.judge(std::span(&trace, 1));
    EXPECT_EQ(decision.verdict, Verdict::kNone) << row.name;
    EXPECT_EQ(decision.reason, row.reason) << row.name << ": " << base::text_of(decision.reason).name;
    EXPECT_EQ(decision.fate, Fate::kMeasureAgain) << row.name;
    EXPECT_THAT(decision.detail, HasSubstr(row.words)) << row.name;
    for (const base::ParameterResult& result : decision.results)
      EXPECT_NE(result.verdict, Verdict::kAccept) << row.name;
  }
}

TEST(PartJudge, ResentChunksAloneAreNoDoubt) {
  const auto counts = counts_with_ra(0.3);
  TraceInput trace = trace_of(counts);
  trace.quality = base::kQualityResent;
  PartJudge judge(one_zone());
  EXPECT_EQ(judge.judge(std::span(&trace, 1)).verdict, Verdict::kAccept);
}

TEST(PartJudge, MoreTraversesThanPlannedAreAMixUp) {
  const auto counts = counts_with_ra(0.3);
  const TraceInput traces[] = {trace_of(counts), trace_of(counts)};
  PartJudge judge(one_zone());
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kNone);
  EXPECT_EQ(decision.reason, Reason::kInternalError);
}

TEST(PartJudge, NothingMeasuredIsNothingAccepted) {
  PartJudge judge(one_zone());
  const PartDecision decision = judge.judge({});
  EXPECT_EQ(decision.verdict, Verdict::kNone);
  EXPECT_EQ(decision.reason, Reason::kTooFewValues);
}

TEST(PartJudge, ADoubtInOneZoneOutweighsABrokenLimitInAnother) {
  PartPlan plan = one_zone();
  plan.zones.push_back(plan.zones[0]);
  plan.zones[1].name = "crest B";
  const auto bad = counts_with_ra(0.9);
  auto damaged = counts_with_ra(0.3);
  damaged[100] = base::kMissingCount;
  const TraceInput traces[] = {trace_of(bad, 0), trace_of(damaged, 1)};
  PartJudge judge(plan);
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kNone);
  EXPECT_THAT(decision.detail, HasSubstr("crest B, traverse 1"));
  EXPECT_EQ(decision.results[0].zone, "crest A");
  EXPECT_EQ(decision.results[0].verdict, Verdict::kReject);  // still told
}

TEST(PartJudge, OneBadZoneRejectsThePart) {
  PartPlan plan = one_zone();
  plan.zones.push_back(plan.zones[0]);
  plan.zones[1].name = "crest B";
  const auto good = counts_with_ra(0.2);
  const auto bad = counts_with_ra(0.5);
  const TraceInput traces[] = {trace_of(bad, 1), trace_of(good, 0)};  // any order
  PartJudge judge(plan);
  const PartDecision decision = judge.judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kReject);
  EXPECT_THAT(decision.detail, HasSubstr("on crest B is above"));
}

TEST(PartJudge, HoldsTraversesByTheirRule) {
  PartPlan plan = one_zone();
  plan.zones[0].traverses = 3;
  const auto low = counts_with_ra(0.2);
  const auto high = counts_with_ra(0.6);
  const TraceInput traces[] = {trace_of(low), trace_of(high), trace_of(low)};
  EXPECT_EQ(PartJudge(plan).judge(traces).verdict, Verdict::kReject);
  plan.zones[0].limits[0].rule = base::AcceptanceRule::kMedian;
  const PartDecision decision = PartJudge(plan).judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kAccept);
  EXPECT_THAT(decision.detail, HasSubstr("(median of 3)"));
  EXPECT_THAT(decision.results[0].values,
              testing::ElementsAre(testing::DoubleNear(0.2, 1e-3), testing::DoubleNear(0.6, 1e-3),
                                   testing::DoubleNear(0.2, 1e-3)));
}

TEST(PartJudge, AParameterMayHaveSeveralLimits) {
  PartPlan plan = one_zone();
  plan.zones[0].traverses = 3;
  base::Limit median = upper("Ra", "um", 0.25);
  median.rule = base::AcceptanceRule::kMedian;
  plan.zones[0].limits.push_back(median);
  const auto a = counts_with_ra(0.2);
  const auto b = counts_with_ra(0.35);
  const TraceInput traces[] = {trace_of(a), trace_of(b), trace_of(b)};
  const PartDecision decision = PartJudge(plan).judge(traces);
  EXPECT_EQ(decision.verdict, Verdict::kReject);
  EXPECT_EQ(decision.results[0].symbol, "Ra");
  EXPECT_EQ(decision.results[1].symbol, "Ra");
  EXPECT_EQ(decision.results[0].verdict, Verdict::kAccept);
  EXPECT_EQ(decision.results[1].verdict, Verdict::kReject);
}

TEST(PartJudge, IsTheSameOnEveryPartAndForEveryHistory) {
  const auto first = counts_with_ra(0.3);
  const auto second = counts_with_ra(0.39);
  const auto shorter = std::vector<std::int32_t>(second.begin(), second.end() - 400);
  PartJudge judge(one_zone());
  const auto decide = [](PartJudge& judge_of, const std::vector<std::int32_t>& counts) {
    const TraceInput trace = trace_of(counts);
    return judge_of.judge(std::span(&trace, 1));
  };
  const PartDecision before = decide(judge, first);
  for (std::size_t cut = 0; cut < 80; ++cut) {  // more shapes than are kept
    decide(judge,
           std::vector<std::int32_t>(shorter.begin(), shorter.end() - static_cast<std::ptrdiff_t>(cut)));
  }
  const PartDecision after = decide(judge, first);
  ASSERT_EQ(before.results.size(), after.results.size());
  for (std::size_t i = 0; i < before.results.size(); ++i)
    EXPECT_EQ(before.results[i].values, after.results[i].values);
  EXPECT_EQ(before.detail, after.detail);
}

TEST(PartJudge, UnlimitedParametersAreToldButDecideNothing) {
  const auto counts = counts_with_ra(0.3);
  const TraceInput traces[] = {trace_of(counts)};
  const PartDecision decision = PartJudge(one_zone()).judge(traces);
  const auto& rq = decision.results[1];
  EXPECT_EQ(rq.symbol, "Rq");
  EXPECT_EQ(rq.verdict, Verdict::kNone);
  EXPECT_EQ(rq.reason, Reason::kNone);
  EXPECT_FALSE(rq.rule.has_value());
  EXPECT_NEAR(rq.decided, 0.3 * profiles::kPi / 2.0 / std::sqrt(2.0), 1e-3);
}

}  // namespace
}  // namespace crestgate::analysis
