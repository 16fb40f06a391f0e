// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/sentence.h"

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

base::ParameterResult result(const std::string& symbol, const std::string& unit, double decided) {
  base::ParameterResult made;
  made.zone = "crest A";
  made.symbol = symbol;
  made.unit = unit;
  made.values = {decided};
  made.decided = decided;
  made.rule = base::AcceptanceRule::kMaximum;
  return made;
}

TEST(Sentence, SaysWhatIsAboveWhich) {
  auto made = result("Ra", "um", 0.5213);
  made.upper = 0.4;
  made.verdict = base::Verdict::kReject;
  made.reason = base::Reason::kAboveUpperLimit;
  EXPECT_EQ(sentence_about(made), "Ra 0.52 um on crest A is above its upper limit 0.40 um");
}

TEST(Sentence, SaysWhatIsClosest) {
  auto made = result("Rmr(5%,1.0um)", "%", 63.21);
  made.lower = 50.0;
  made.verdict = base::Verdict::kAccept;
  made.reason = base::Reason::kAllWithinLimits;
  EXPECT_EQ(sentence_about(made), "closest to its limit: Rmr(5%,1.0um) 63.2 % on crest A, at least 50 %");
  made.upper = 70.0;
  EXPECT_EQ(sentence_about(made), "closest to its limit: Rmr(5%,1.0um) 63.2 % on crest A, at most 70 %");
}

TEST(Sentence, NeverShowsABrokenLimitAsKept) {
  auto made = result("Rz", "um", 1.20004);
  made.upper = 1.2;
  made.verdict = base::Verdict::kReject;
  made.reason = base::Reason::kAboveUpperLimit;
  EXPECT_EQ(sentence_about(made), "Rz 1.20004 um on crest A is above its upper limit 1.20 um");
}

TEST(Sentence, NamesTheRuleAndLeavesAMissingUnitOut) {
  auto made = result("Rsk", "", -3.456);
  made.values = {-1.0, -3.456, -4.0};
  made.lower = -2.5;
  made.rule = base::AcceptanceRule::kMedian;
  made.verdict = base::Verdict::kReject;
  made.reason = base::Reason::kBelowLowerLimit;
  EXPECT_EQ(sentence_about(made), "Rsk -3.46 (median of 3) on crest A is below its lower limit -2.5");
}

}  // namespace
}  // namespace crestgate::analysis
