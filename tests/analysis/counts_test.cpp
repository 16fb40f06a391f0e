// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/counts.h"

#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

base::Outcome convert(const std::vector<std::int32_t>& counts, double step_um,
                      std::vector<double>& heights_um) {
  heights_um.assign(counts.size(), -1.0);
  return heights_from_counts(counts, step_um, heights_um);
}

TEST(Counts, AreMultiplesOfTheStep) {
  std::vector<double> heights_um;
  ASSERT_TRUE(convert({-4, 0, 3, 2147483646}, 0.25, heights_um).has_value());
  EXPECT_THAT(heights_um, testing::ElementsAre(-1.0, 0.0, 0.75, 536870911.5));
}

TEST(Counts, RefuseAMissingSampleAndSayWhich) {
  std::vector<double> heights_um;
  const auto outcome = convert({1, 2, base::kMissingCount, 4}, 0.001, heights_um);
  ASSERT_FALSE(outcome.has_value());
  EXPECT_EQ(outcome.error().code, base::ErrorCode::kNoData);
  EXPECT_THAT(outcome.error().detail, HasSubstr("sample 2 of 4"));
}

TEST(Counts, RefuseAnOverRangeSampleAndSayWhich) {
  std::vector<double> heights_um;
  const auto outcome = convert({base::kOverRangeCount, 2}, 0.001, heights_um);
  ASSERT_FALSE(outcome.has_value());
  EXPECT_EQ(outcome.error().code, base::ErrorCode::kOutOfRange);
  EXPECT_THAT(outcome.error().detail, HasSubstr("sample 0 of 2"));
}

TEST(Counts, RefuseAnEmptyTrace) {
  std::vector<double> heights_um;
  EXPECT_EQ(convert({}, 0.001, heights_um).error().code, base::ErrorCode::kNoData);
}

TEST(Counts, RefuseAStepThatIsNotPositiveAndFinite) {
  std::vector<double> heights_um;
  for (const double step_um :
       {0.0, -0.001, std::numeric_limits<double>::infinity(), std::numeric_limits<double>::quiet_NaN()}) {
    const auto outcome = convert({1, 2}, step_um, heights_um);
    ASSERT_FALSE(outcome.has_value()) << step_um;
    EXPECT_EQ(outcome.error().code, base::ErrorCode::kInvalidConfig) << step_um;
  }
}

TEST(Counts, WithGapsKeepTheRestAndCountWhatIsMissing) {
  const std::vector<std::int32_t> counts{100, base::kMissingCount, -200, base::kOverRangeCount,
                                         base::kMissingCount};
  std::vector<double> heights_um(counts.size());
  const auto gaps = heights_with_gaps(counts, 0.01, heights_um);
  ASSERT_TRUE(gaps.has_value());
  EXPECT_EQ(gaps->missing, 2U);
  EXPECT_EQ(gaps->over_range, 1U);
  EXPECT_EQ(heights_um[0], 1.0);
  EXPECT_EQ(heights_um[2], -2.0);
  for (const std::size_t i : {1U, 3U, 4U}) EXPECT_TRUE(std::isnan(heights_um[i])) << i;
  EXPECT_EQ(heights_with_gaps(counts, 0.0, heights_um).error().code, base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(heights_with_gaps({}, 0.01, {}).error().code, base::ErrorCode::kNoData);
}

}  // namespace
}  // namespace crestgate::analysis
