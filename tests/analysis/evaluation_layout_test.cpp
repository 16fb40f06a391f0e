// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/evaluation_layout.h"

#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

TEST(EvaluationLayout, LiesInTheMiddleOfATraceWithFullRunUp) {
  const auto layout = lay_out({}, {.spacing_mm = 0.0005, .sample_count = 11200});  // 5.6 mm
  ASSERT_TRUE(layout.has_value());
  EXPECT_EQ(layout->section_samples, 1600U);
  EXPECT_EQ(layout->sample_count, 8000U);
  EXPECT_EQ(layout->first_sample, 1600U);
  EXPECT_DOUBLE_EQ(layout->evaluation_start_mm, 0.8);
  EXPECT_DOUBLE_EQ(layout->evaluation_length_mm, 4.0);
  EXPECT_DOUBLE_EQ(layout->section_length_mm, 0.8);
  EXPECT_TRUE(layout->full_run_up);
}

TEST(EvaluationLayout, AcceptsHalfACutoffOfRunUpAndSaysSo) {
  const auto layout = lay_out({}, {.spacing_mm = 0.0005, .sample_count = 9600});  // 4.8 mm
  ASSERT_TRUE(layout.has_value());
  EXPECT_DOUBLE_EQ(layout->evaluation_start_mm, 0.4);
  EXPECT_FALSE(layout->full_run_up);
}

TEST(EvaluationLayout, RefusesATraceOfTheBareEvaluationLength) {
  for (const std::size_t count : {std::size_t{0}, std::size_t{2}, std::size_t{8000}, std::size_t{9599}}) {
    const auto layout = lay_out({}, {.spacing_mm = 0.0005, .sample_count = count});
    ASSERT_FALSE(layout.has_value()) << count;
    EXPECT_EQ(layout.error().code, base::ErrorCode::kTooShort);
    EXPECT_THAT(layout.error().detail, HasSubstr("4.8 mm"));
  }
}

TEST(EvaluationLayout, RefusesASpacingThatIsTooCoarseForTheFilters) {
  const auto coarse = lay_out({}, {.spacing_mm = 0.001, .sample_count = 100000});
  ASSERT_FALSE(coarse.has_value());
  EXPECT_EQ(coarse.error().code, base::ErrorCode::kOutOfRange);
  EXPECT_THAT(coarse.error().detail, HasSubstr("lambda_s 0.0025 mm"));
  EXPECT_THAT(coarse.error().detail, HasSubstr("at most 0.0005 mm, found 0.001 mm"));

  TextureSettings without_s;
  without_s.lambda_s_mm = 0.0;
  EXPECT_TRUE(lay_out(without_s, {.spacing_mm = 0.001, .sample_count = 5600}).has_value());
  EXPECT_FALSE(lay_out(without_s, {.spacing_mm = 0.05, .sample_count = 5600}).has_value());
}

TEST(EvaluationLayout, RefusesASpacingThatIsNoPositiveNumber) {
  for (const double spacing_mm :
       {0.0, -0.0005, std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
    const auto layout = lay_out({}, {.spacing_mm = spacing_mm, .sample_count = 11200});
    ASSERT_FALSE(layout.has_value()) << spacing_mm;
    EXPECT_EQ(layout.error().code, base::ErrorCode::kOutOfRange);
  }
}

TEST(EvaluationLayout, SectionsTileAnEvaluationLengthThatIsNoMultipleOfTheSpacing) {
  TextureSettings settings;
  settings.lambda_s_mm = 0.0;
  settings.section_length_mm = 0.25;
  settings.sections = 3;
  settings.lambda_c_mm = 0.25;
  const auto layout = lay_out(settings, {.spacing_mm = 0.0007, .sample_count = 2000});
  ASSERT_TRUE(layout.has_value());
  EXPECT_EQ(layout->section_samples, 357U);
  EXPECT_EQ(layout->sample_count, 1071U);
  EXPECT_NEAR(layout->evaluation_length_mm, 0.7497, 1e-12);
}

}  // namespace
}  // namespace crestgate::analysis
