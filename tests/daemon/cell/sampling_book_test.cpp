// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/sampling_book.h"

#include <gtest/gtest.h>

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::Reason;
using base::Verdict;

struct Sampled : ::testing::Test {
  SamplingBook book;
  PlanDescription plan;
  std::uint32_t dress = 10;

  Sampled() {
    plan.name = "P";
    plan.sampling = {.every = 4, .after_dress = true, .after_reject = 3};
  }
  [[nodiscard]] base::PartIdentity next() {
    base::PartIdentity identity;
    identity.dress_count = ++dress;
    identity.wheel = 7;
    return identity;
  }
  void note(Verdict verdict, Reason reason, const base::PartIdentity& identity) {
    base::Judgement judgement;
    judgement.plan = "P";
    judgement.verdict = verdict;
    judgement.reason = reason;
    judgement.identity = identity;
    book.note(judgement);
  }
  // What the line does with `count` parts, one letter each: m measured (and found good), . passed over.
  std::string run(int count) {
    std::string letters;
    for (int i = 0; i < count; ++i) {
      const auto identity = next();
      const bool asked = book.asks_for(plan, identity);
      letters += asked ? 'm' : '.';
      note(asked ? Verdict::kAccept : Verdict::kNone, asked ? Reason::kAllWithinLimits : Reason::kNotSampled,
           identity);
    }
    return letters;
  }
};

TEST_F(Sampled, EveryFourthPartIsMeasuredBeginningWithTheFirst) { EXPECT_EQ(run(9), "m...m...m"); }

TEST_F(Sampled, EveryPartIsMeasuredWithoutASamplingPlan) {
  plan.sampling.every = 1;
  EXPECT_EQ(run(3), "mmm");
}

TEST_F(Sampled, ThePartAfterADressIsMeasured) {
  EXPECT_EQ(run(2), "m.");
  dress = 0;
  EXPECT_EQ(run(5), "m...m");
}

TEST_F(Sampled, APartWhoseDressCountIsUnknownIsMeasured) {
  EXPECT_EQ(run(2), "m.");
  EXPECT_TRUE(book.asks_for(plan, {}));
  plan.sampling.after_dress = false;
  EXPECT_FALSE(book.asks_for(plan, {}));
}

TEST_F(Sampled, ThePartUnderAnotherWheelIsMeasured) {
  EXPECT_EQ(run(2), "m.");
  auto identity = next();
  identity.wheel = 8;
  EXPECT_TRUE(book.asks_for(plan, identity));
}

TEST_F(Sampled, ARejectTightensIt) {
  EXPECT_EQ(run(2), "m.");
  note(Verdict::kReject, Reason::kAboveUpperLimit, next());
  EXPECT_EQ(run(8), "mmm...m.");
}

TEST_F(Sampled, APartThatGotNoJudgementLeavesOneOwed) {
  EXPECT_EQ(run(2), "m.");
  note(Verdict::kNone, Reason::kGaugeSilent, next());
  EXPECT_EQ(run(5), "mmm..");
  note(Verdict::kNone, Reason::kGaugeSilent, next());
  EXPECT_TRUE(book.asks_for(plan, next()));
  note(Verdict::kNone, Reason::kBypassed, next());
  EXPECT_TRUE(book.asks_for(plan, next())) << "a bypassed part proves nothing";
  EXPECT_EQ(run(5), "mmm..");
  dress = 0;
  note(Verdict::kNone, Reason::kBypassed, next());  // dressed, and the first part after it went by
  dress = 100;
  EXPECT_TRUE(book.asks_for(plan, next()));
}

CellDescription sampled_cell() {
  CellDescription cell = two_zone_cell();
  cell.plans[0].plan.sampling = {.every = 3, .after_dress = false, .after_reject = 0};
  cell.plans[0].plan.on_not_sampled = base::Fate::kPassUnmeasured;
  return cell;
}

struct SampledCycle : ReadyCycle {
  SampledCycle() : ReadyCycle(sampled_cell()) {}
};

TEST_F(SampledCycle, APartBetweenIsAnsweredAtOnceDarkAndUnmeasured) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc({});
  bench.request("ES-2", 2);
  expect_none(Reason::kNotSampled);
  expect_shown(Reason::kNotSampled);
  EXPECT_EQ(bench.signal().fate, base::Fate::kPassUnmeasured);
  EXPECT_EQ(bench.signal().lamp, base::Lamp::kDark);
  EXPECT_NE(bench.signal().line.find("not measured"), std::string::npos);
  EXPECT_EQ(bench.recorded().back().attempt, 0U);
}

TEST_F(SampledCycle, APartThatComesAgainIsMeasured) {
  bench.measure("ES-1", Verdict::kReject);
  bench.plc({});
  bench.request("ES-1", 2);
  EXPECT_EQ(bench.phase(), Phase::kPositioning) << "once begun, a part is measured";
  EXPECT_EQ(bench.signal().attempt, 2);
}

}  // namespace
}  // namespace crestgate::cell
