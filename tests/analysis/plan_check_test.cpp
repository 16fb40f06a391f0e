// SPDX-License-Identifier: Apache-2.0
#include <cmath>
#include <functional>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/judging/part_plan.h"

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

PartPlan good_plan() {
  ZonePlan zone;
  zone.name = "crest A";
  zone.limits = {{.symbol = "Ra",
                  .unit = "um",
                  .lower = std::nullopt,
                  .upper = 0.4,
                  .rule = base::AcceptanceRule::kMaximum}};
  return {.zones = {zone}};
}

std::string fault_after(const std::function<void(PartPlan&)>& change) {
  PartPlan plan = good_plan();
  change(plan);
  const auto checked = check_plan(plan);
  return checked ? "" : checked.error().detail;
}

TEST(PlanCheck, AcceptsAGoodPlan) {
  EXPECT_EQ(fault_after([](PartPlan&) {}), "");
  EXPECT_EQ(fault_after([](PartPlan& plan) {
              plan.zones.push_back(plan.zones[0]);
              plan.zones[1].name = "crest B";
            }),
            "");
}

TEST(PlanCheck, RefusesAPlanThatCouldNeverAccept) {
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones.clear(); }), HasSubstr("no zone"));
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones[0].limits.clear(); }),
              HasSubstr("'crest A' has no limit"));
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones[0].traverses = 0; }), HasSubstr("no traverse"));
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones[0].name.clear(); }), HasSubstr("no name"));
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones.push_back(plan.zones[0]); }),
              HasSubstr("two zones"));
}

TEST(PlanCheck, RefusesALimitOnWhatThePlanItselfSays) {
  PartPlan plan = good_plan();
  plan.zones[0].settings.face = FaceFormSettings{};
  plan.zones[0].limits[0].symbol = "CrownSkew";
  const auto checked = check_plan(plan);
  ASSERT_FALSE(checked.has_value());
  EXPECT_NE(checked.error().detail.find("would judge nothing"), std::string::npos);
}

TEST(PlanCheck, RefusesALimitThatCannotBeHeld) {
  const auto with_limit = [](const std::function<void(base::Limit&)>& change) {
    return fault_after([&change](PartPlan& plan) { change(plan.zones[0].limits[0]); });
  };
  EXPECT_THAT(with_limit([](base::Limit& l) { l.symbol = "Rmr(5%,1.0um)"; }),
              HasSubstr("give no parameter 'Rmr(5%,1.0um)'"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.unit = "nm"; }),
              HasSubstr("computed in 'um', its limit is in 'nm'"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.upper.reset(); }), HasSubstr("neither a lower nor an upper"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.lower = 0.5; }),
              HasSubstr("lower limit 0.5 above its upper limit 0.4"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.upper = std::nan(""); }), HasSubstr("not a finite number"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.rule = base::AcceptanceRule::kMedian; }),
              HasSubstr("at least 3 values"));
  EXPECT_THAT(with_limit([](base::Limit& l) { l.rule = static_cast<base::AcceptanceRule>(9); }),
              HasSubstr("unknown"));
}

TEST(PlanCheck, RefusesImpossibleSettings) {
  EXPECT_THAT(fault_after([](PartPlan& plan) { plan.zones[0].settings.lambda_c_mm = -1.0; }),
              HasSubstr("zone 'crest A': lambda_c"));
}

}  // namespace
}  // namespace crestgate::analysis
