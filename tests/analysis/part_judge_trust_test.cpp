// SPDX-License-Identifier: Apache-2.0
// What the judge does with numbers that exist and cannot be trusted, and with sections.
#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/judging/part_judge.h"
#include "analysis/profiles.h"
#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

using base::AcceptanceRule;
using base::Reason;
using base::Verdict;
using testing::HasSubstr;

constexpr double kSpacing = 0.0005;
constexpr double kStep = 0.0001;
constexpr std::size_t kCount = 11200;

std::vector<std::int32_t> counts_of(const std::vector<double>& heights_um) {
  std::vector<std::int32_t> counts;
  for (const double height_um : heights_um)
    counts.push_back(static_cast<std::int32_t>(std::lround(height_um / kStep)));
  return counts;
}

PartPlan plan_with(const base::Limit& limit) {
  ZonePlan zone;
  zone.name = "crest A";
  zone.settings.waves = WaveBand{.shortest_mm = 0.5, .longest_mm = 2.8};
  zone.limits = {limit};
  return {.zones = {zone}};
}

base::Limit at_most(const std::string& symbol, double upper, AcceptanceRule rule = AcceptanceRule::kMaximum) {
  return {.symbol = symbol, .unit = "um", .lower = std::nullopt, .upper = upper, .rule = rule};
}

PartDecision judged(const PartPlan& plan, const std::vector<std::int32_t>& counts,
                    base::Pickup pickup = base::Pickup::kSkidless, std::uint32_t quality = 0) {
  const TraceInput trace{.zone_index = 0,
                         .spacing_mm = kSpacing,
                         .height_step_um = kStep,
                         .counts = counts,
                         .quality = quality,
                         .pickup = pickup};
  PartJudge judge(plan);
  return judge.judge(std::span(&trace, 1));
}

TEST(PartJudgeTrust, AWaveLimitBelowWhatTheRoughnessHidesIsNotJudged) {
  const auto rough =
      counts_of(profiles::rough(kCount, 0.5, 20, 7));  // no wave; up to about half a um could hide
  const PartDecision low = judged(plan_with(at_most("WaveHeight", 0.05)), rough);
  EXPECT_EQ(low.verdict, Verdict::kNone);
  EXPECT_EQ(low.reason, Reason::kValueUncertain);
  EXPECT_THAT(low.detail, HasSubstr("on this trace it may be anything from 0.00 to "));
  const PartDecision high = judged(plan_with(at_most("WaveHeight", 3.0)), rough);
  EXPECT_EQ(high.verdict, Verdict::kAccept) << high.detail;
}

TEST(PartJudgeTrust, WhatTheRoughnessHidesDoesNotSaveAPartThatIsBadAnyway) {
  const auto rough = counts_of(profiles::rough(kCount, 0.5, 20, 7));
  PartPlan plan = plan_with(at_most("WaveHeight", 0.05));
  plan.zones[0].limits.push_back(at_most("Ra", 0.1));
  const PartDecision decision = judged(plan, rough);
  EXPECT_EQ(decision.verdict, Verdict::kReject);
  EXPECT_THAT(decision.detail, HasSubstr("Ra"));
}

TEST(PartJudgeTrust, ALowerWaveLimitIsNotBrokenByAWaveThatMayHide) {
  const auto rough = counts_of(profiles::rough(kCount, 0.5, 20, 7));
  const base::Limit at_least{.symbol = "WaveHeight",
                             .unit = "um",
                             .lower = 0.05,
                             .upper = std::nullopt,
                             .rule = AcceptanceRule::kMaximum};
  EXPECT_EQ(judged(plan_with(at_least), rough).reason, Reason::kValueUncertain);
}

TEST(PartJudgeTrust, WavesThatTheDriveMayHaveWrittenDecideNothing) {
  auto heights_um = profiles::rough(kCount, 0.05, 20, 7);
  for (std::size_t i = 0; i < kCount; ++i)
    heights_um[i] += 0.3 * profiles::sine(static_cast<double>(i) * kSpacing, 1.3);
  PartPlan plan = plan_with(at_most("WaveHeight", 0.5));  // the waves are 0.6 um high
  EXPECT_EQ(judged(plan, counts_of(heights_um)).verdict, Verdict::kReject);
  plan.zones[0].settings.waves->drive_um = 0.2;
  EXPECT_EQ(judged(plan, counts_of(heights_um)).reason, Reason::kValueUncertain);
}

TEST(PartJudgeTrust, ACrownIsHeldWithWhatASkewMayHaveFaked) {
  std::vector<double> heights_um = profiles::rough(kCount, 0.01, 20, 12);
  for (std::size_t i = 0; i < kCount; ++i) {
    const double u = (static_cast<double>(i) - 0.5 * kCount) / (0.5 * kCount);
    heights_um[i] -= 1.0 * u * u;  // 1 um of crown
  }
  // 3 degrees, 5.6 mm, radius 5 mm: (5.6 sin 3)^2 / 40 = 2.1 um could be the skew's.
  const auto verdict_at = [&](double upper, double degrees) {
    PartPlan plan = plan_with(at_most("Crown", upper));
    plan.zones[0].settings.face = FaceFormSettings{};
    plan.zones[0].settings.face->skew = SkewLimit{.radius_mm = 5.0, .most_degrees = degrees};
    return judged(plan, counts_of(heights_um)).verdict;
  };
  EXPECT_EQ(verdict_at(1.5, 0.1), Verdict::kAccept);
  EXPECT_EQ(verdict_at(1.5, 3.0), Verdict::kNone);
  EXPECT_EQ(verdict_at(5.0, 3.0), Verdict::kAccept);
  EXPECT_EQ(verdict_at(0.5, 0.1), Verdict::kReject);
}

TEST(PartJudgeTrust, AWaveThatIsSeenIsRejectedWhateverCouldHideBesideIt) {
  auto heights_um = profiles::rough(kCount, 0.5, 20, 7);
  for (std::size_t i = 0; i < kCount; ++i)
    heights_um[i] += 2.0 * profiles::sine(static_cast<double>(i) * kSpacing, 1.3);
  const PartDecision decision = judged(plan_with(at_most("WaveHeight", 0.05)), counts_of(heights_um));
  EXPECT_EQ(decision.verdict, Verdict::kReject) << decision.detail;
}

TEST(PartJudgeTrust, ASkiddedPickupJudgesRoughnessButNeitherWavesNorForm) {
  const auto rough = counts_of(profiles::rough(kCount, 0.1, 20, 8));
  for (const char* symbol : {"WaveHeight", "Wt", "Pa"}) {
    const PartDecision refused = judged(plan_with(at_most(symbol, 9.0)), rough, base::Pickup::kSkidded);
    EXPECT_EQ(refused.verdict, Verdict::kNone) << symbol;
    EXPECT_EQ(refused.reason, Reason::kPickupSkidded) << symbol;
  }
  EXPECT_EQ(judged(plan_with(at_most("Ra", 9.0)), rough, base::Pickup::kSkidded).verdict, Verdict::kAccept);
  EXPECT_EQ(judged(plan_with(at_most("Wt", 9.0)), rough, base::Pickup::kSkidless).verdict, Verdict::kAccept);
}

TEST(PartJudgeTrust, LimitsOfSectionParametersAreHeldAgainstEverySection) {
  auto heights_um = profiles::rough(kCount, 0.1, 20, 9);
  heights_um[5600] += 8.0;  // one crest, in the middle section
  const PartDecision decision = judged(plan_with(at_most("Rz", 2.0)), counts_of(heights_um));
  EXPECT_EQ(decision.verdict, Verdict::kReject) << decision.detail;
  const base::ParameterResult& result = decision.results[*decision.deciding];
  ASSERT_EQ(result.values.size(), 5U);
  EXPECT_GT(result.decided, 3.0);
  // Their mean, Rz itself, is below the limit, and so is their median.
  double mean = 0.0;
  for (const double value : result.values) mean += value / 5.0;
  EXPECT_LT(mean, 2.0);
  EXPECT_EQ(judged(plan_with(at_most("Rz", 2.0, AcceptanceRule::kMedian)), counts_of(heights_um)).verdict,
            Verdict::kAccept);
}

TEST(PartJudgeTrust, AMedianOfOneTraverseHasTooFewValuesWithoutSections) {
  const auto decision = judged(plan_with(at_most("Ra", 9.0, AcceptanceRule::kMedian)),
                               counts_of(profiles::rough(kCount, 0.1, 20, 9)));
  EXPECT_EQ(decision.verdict, Verdict::kNone);
  EXPECT_THAT(decision.detail, HasSubstr("needs at least 3 values"));
}

TEST(PartJudgeTrust, ShortGapsAreBridgedOnlyWhereThePlanAllowsIt) {
  auto counts = counts_of(profiles::rough(kCount, 0.1, 20, 10));
  for (std::size_t i = 4000; i < 4003; ++i) counts[i] = base::kMissingCount;  // 1.5 um
  PartPlan plan = plan_with(at_most("Ra", 9.0));
  const PartDecision strict = judged(plan, counts, base::Pickup::kSkidless, base::kQualityMissing);
  EXPECT_EQ(strict.reason, Reason::kTraceMissingSamples);
  plan.zones[0].settings.preparation.bridge_um = 2.5;
  const PartDecision bridged = judged(plan, counts, base::Pickup::kSkidless, base::kQualityMissing);
  EXPECT_EQ(bridged.verdict, Verdict::kAccept) << bridged.detail;
  for (std::size_t i = 4000; i < 4010; ++i) counts[i] = base::kOverRangeCount;  // 5 um
  const PartDecision longer = judged(plan, counts, base::Pickup::kSkidless, base::kQualityOverRange);
  EXPECT_EQ(longer.verdict, Verdict::kNone);
  EXPECT_EQ(longer.reason, Reason::kTraceOverRange) << longer.detail;
  EXPECT_THAT(longer.detail, HasSubstr("at most 2.5 um"));
}

}  // namespace
}  // namespace crestgate::analysis
