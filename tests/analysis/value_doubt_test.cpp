// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/value_doubt.h"

#include <set>
#include <string>

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

TEST(ValueDoubt, EveryBitHasItsOwnNameAndASentence) {
  std::set<std::string> names;
  for (std::uint32_t bit = 0; bit < kValueDoubts; ++bit) {
    const DoubtText& text = text_of(static_cast<ValueDoubt>(1U << bit));
    EXPECT_TRUE(names.emplace(text.name).second) << text.name;
    EXPECT_FALSE(text.sentence.empty());
  }
}

TEST(ValueDoubt, ASetKnowsWhatWasPutIn) {
  DoubtSet doubts;
  EXPECT_TRUE(doubts.empty());
  doubts |= ValueDoubt::kBridged;
  doubts |= ValueDoubt::kSkidded;
  EXPECT_TRUE(doubts.has(ValueDoubt::kBridged));
  EXPECT_FALSE(doubts.has(ValueDoubt::kStarved));
  EXPECT_FALSE((doubts & kForbiddingDoubts).empty());
  EXPECT_TRUE((DoubtSet(ValueDoubt::kBridged) & kForbiddingDoubts).empty());
}

}  // namespace
}  // namespace crestgate::analysis
