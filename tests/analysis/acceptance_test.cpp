// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/acceptance.h"

#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

using base::AcceptanceRule;
using base::Reason;
using base::Verdict;

base::Limit limit(std::optional<double> lower, std::optional<double> upper, AcceptanceRule rule) {
  return {.symbol = "Ra", .unit = "um", .lower = lower, .upper = upper, .rule = rule};
}

Acceptance held(const base::Limit& bounds, std::vector<double> values) {
  return hold_against(bounds, values);
}

// n values, `beyond` of them at 2, the rest at 0.5; the limit is 1.
Verdict sixteen_percent(std::size_t n, std::size_t beyond) {
  std::vector<double> values(n, 0.5);
  for (std::size_t i = 0; i < beyond; ++i) values[i * n / std::max<std::size_t>(1, beyond)] = 2.0;
  return held(limit(std::nullopt, 1.0, AcceptanceRule::kSixteenPercent), values).verdict;
}

TEST(Acceptance, MaximumRuleAllowsNoValueBeyond) {
  const auto upper = limit(std::nullopt, 1.0, AcceptanceRule::kMaximum);
  EXPECT_EQ(held(upper, {0.2, 1.0, 0.9}).verdict, Verdict::kAccept);  // on the limit is inside
  EXPECT_EQ(held(upper, {0.2, std::nextafter(1.0, 2.0), 0.9}).verdict, Verdict::kReject);
  EXPECT_EQ(held(upper, {0.1, 0.2, 0.1, 0.1, 1.5}).verdict, Verdict::kReject);  // 1 bad of 5
  EXPECT_EQ(held(upper, {0.1, 0.2, 0.1, 0.1, 1.5}).decided, 1.5);
  EXPECT_EQ(held(limit(0.5, std::nullopt, AcceptanceRule::kMaximum), {0.6, 0.4}).reason,
            Reason::kBelowLowerLimit);
}

// floor(0.16 n): 0 up to 6, 1 for 7 to 12, 2 for 13 to 18. At n = 25 exactly 4: 0.16 must not round down.
TEST(Acceptance, SixteenPercentRuleCounts) {
  struct Row {
    std::size_t n, allowed;
  };
  for (const Row& row :
       {Row{1, 0}, Row{6, 0}, Row{7, 1}, Row{12, 1}, Row{13, 2}, Row{18, 2}, Row{25, 4}, Row{50, 8}}) {
    EXPECT_EQ(sixteen_percent(row.n, row.allowed), Verdict::kAccept) << row.n;
    EXPECT_EQ(sixteen_percent(row.n, row.allowed + 1), Verdict::kReject) << row.n;
  }
}

TEST(Acceptance, SixteenPercentRuleMirrorsForALowerLimit) {
  const auto lower = limit(1.0, std::nullopt, AcceptanceRule::kSixteenPercent);
  EXPECT_EQ(held(lower, {2, 2, 2, 0.5, 2, 2, 2}).verdict, Verdict::kAccept);
  EXPECT_EQ(held(lower, {2, 2, 2, 0.5, 0.4, 2, 2}).verdict, Verdict::kReject);
  EXPECT_EQ(held(lower, {2, 2, 2, 0.5, 0.4, 2, 2}).decided, 0.5);
}

TEST(Acceptance, MedianRuleNeedsThreeValues) {
  const auto upper = limit(std::nullopt, 1.0, AcceptanceRule::kMedian);
  EXPECT_EQ(held(upper, {0.5, 9.0, 0.9}).verdict, Verdict::kAccept);
  EXPECT_EQ(held(upper, {0.5, 9.0, 1.1}).verdict, Verdict::kReject);
  EXPECT_EQ(held(upper, {0.5, 0.8, 1.0, 9.0}).decided, 0.9);
  EXPECT_EQ(held(upper, {0.5, 0.6}).verdict, Verdict::kNone);
  EXPECT_EQ(held(upper, {0.5, 0.6}).reason, Reason::kTooFewValues);
}

TEST(Acceptance, WithoutValuesOrBoundsNothingIsDecided) {
  EXPECT_EQ(held(limit(std::nullopt, 1.0, AcceptanceRule::kMaximum), {}).verdict, Verdict::kNone);
  EXPECT_EQ(held(limit(std::nullopt, std::nullopt, AcceptanceRule::kMaximum), {0.5}).verdict, Verdict::kNone);
}

TEST(Acceptance, ANumberThatIsNotFiniteNeverPasses) {
  for (const double bad : {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(),
                           -std::numeric_limits<double>::infinity()}) {
    for (const AcceptanceRule rule :
         {AcceptanceRule::kMaximum, AcceptanceRule::kSixteenPercent, AcceptanceRule::kMedian}) {
      const Acceptance found = held(limit(std::nullopt, 1.0, rule), {0.1, bad, 0.1, 0.1, 0.1, 0.1, 0.1});
      EXPECT_EQ(found.verdict, Verdict::kNone);
      EXPECT_EQ(found.reason, Reason::kTraceNotFinite);
    }
  }
}

TEST(Acceptance, TheNearerSideOfATwoSidedLimitDecides) {
  const auto both = limit(1.0, 3.0, AcceptanceRule::kMaximum);
  EXPECT_EQ(held(both, {1.2, 2.0}).decided, 1.2);
  EXPECT_FALSE(held(both, {1.2, 2.0}).decided_by_upper);
  EXPECT_EQ(held(both, {1.9, 2.8}).decided, 2.8);
  EXPECT_NEAR(held(both, {1.9, 2.8}).margin, 0.1, 1e-12);
  EXPECT_EQ(held(both, {0.5, 2.0}).reason, Reason::kBelowLowerLimit);
  EXPECT_EQ(held(both, {0.9, 4.0}).reason, Reason::kAboveUpperLimit);  // the further broken one
}

TEST(Acceptance, MarginsHaveAScaleEvenForALimitOfZero) {
  EXPECT_DOUBLE_EQ(relative_margin(limit(std::nullopt, 0.4, AcceptanceRule::kMaximum), 0.3, true), 0.25);
  EXPECT_DOUBLE_EQ(relative_margin(limit(std::nullopt, 0.0, AcceptanceRule::kMaximum), 0.25, true), -0.25);
  EXPECT_DOUBLE_EQ(relative_margin(limit(-2.0, std::nullopt, AcceptanceRule::kMaximum), -1.0, false), 0.5);
  EXPECT_DOUBLE_EQ(relative_margin(limit(2.0, 2.0, AcceptanceRule::kMaximum), 3.0, true), -0.5);
}

}  // namespace
}  // namespace crestgate::analysis
