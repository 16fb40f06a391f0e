// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/trace_preparation.h"

#include <cmath>
#include <limits>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/faces.h"
#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();
constexpr double kSpacingMm = 0.0005;

struct Prepared {
  base::Outcome outcome = base::Done{};
  std::vector<double> heights_um;
  PreparationReport report;
};

Prepared prepared(const std::vector<double>& heights_um, const PreparationOptions& options) {
  Prepared result;
  const auto preparation = TracePreparation::prepare(options, kSpacingMm, heights_um.size());
  EXPECT_TRUE(preparation.has_value()) << preparation.error().detail;
  result.heights_um.resize(preparation->output_count());
  PreparationWorkspace workspace;
  result.outcome = preparation->run(heights_um, workspace, result.heights_um, result.report);
  return result;
}

std::string refusal(const std::vector<double>& heights_um, const PreparationOptions& options) {
  const Prepared result = prepared(heights_um, options);
  EXPECT_FALSE(result.outcome.has_value());
  if (result.outcome.has_value()) return "";
  EXPECT_EQ(result.outcome.error().code, base::ErrorCode::kNoData);
  return result.outcome.error().detail;
}

std::vector<double> line(std::size_t count) {
  return profiles::sampled(count, kSpacingMm, [](double x) { return 2.0 + 30.0 * x; });
}

void cut(std::vector<double>& heights_um, std::size_t first, std::size_t count) {
  for (std::size_t i = first; i < first + count; ++i) heights_um[i] = kNaN;
}

TEST(TracePreparation, AWholeTraceComesBackToTheBit) {
  const auto z = faces::ground({.sample_count = 4000, .seed = 3});
  const Prepared result = prepared(z, {});
  ASSERT_TRUE(result.outcome.has_value());
  EXPECT_EQ(result.heights_um, z);
  EXPECT_TRUE(result.report.is_untouched());
  EXPECT_EQ(sentence_about(result.report), "");
}

TEST(TracePreparation, BridgesWithTheStraightLineAndSaysWhere) {
  const auto whole = line(1000);
  auto z = whole;
  cut(z, 100, 5);
  cut(z, 700, 2);
  const Prepared result = prepared(z, {.bridge_um = 2.5});
  ASSERT_TRUE(result.outcome.has_value());
  for (std::size_t i = 0; i < whole.size(); ++i) ASSERT_NEAR(result.heights_um[i], whole[i], 1e-12) << i;
  EXPECT_EQ(result.report.missing_samples, 7U);
  EXPECT_EQ(result.report.bridges, 2U);
  EXPECT_EQ(result.report.bridged_samples, 7U);
  EXPECT_DOUBLE_EQ(result.report.longest_bridge_um, 2.5);
  EXPECT_DOUBLE_EQ(result.report.bridged_percent, 0.7);
  EXPECT_EQ(result.report.first_bridges[0],
            (BridgedGap{.first_sample = 100, .sample_count = 5, .spike_samples = 0}));
  EXPECT_EQ(result.report.first_bridges[1],
            (BridgedGap{.first_sample = 700, .sample_count = 2, .spike_samples = 0}));
  EXPECT_EQ(sentence_about(result.report),
            "bridged 2 gaps (7 samples, the longest 2.5 um); first at sample 100 (0.05 mm)");
}

TEST(TracePreparation, NothingIsBridgedUnlessAsked) {
  auto z = line(1000);
  cut(z, 400, 1);
  EXPECT_EQ(refusal(z, {}),
            "1 sample from sample 400 on (0.2 mm) is missing: a gap of 0.5 um, none may be bridged");
}

TEST(TracePreparation, ALongerGapMakesTheTraceInvalid) {
  auto z = line(1000);
  cut(z, 400, 6);
  EXPECT_EQ(
      refusal(z, {.bridge_um = 2.5}),
      "6 samples from sample 400 on (0.2 mm) are missing: a gap of 3 um, at most 2.5 um may be bridged");
  EXPECT_TRUE(prepared(z, {.bridge_um = 3.0}).outcome.has_value());
}

TEST(TracePreparation, GapsAtTheEndsAreNeverBridged) {
  auto start = line(1000);
  cut(start, 0, 1);
  EXPECT_THAT(refusal(start, {.bridge_um = 100.0}), HasSubstr("at the start of the trace"));
  auto end = line(1000);
  cut(end, 998, 2);
  EXPECT_THAT(refusal(end, {.bridge_um = 100.0}),
              HasSubstr("2 samples from sample 998 on (0.499 mm) are missing: a gap of 1 um at the end of"));
  EXPECT_EQ(refusal(std::vector<double>(50, kNaN), {.bridge_um = 1e6, .most_bridged_percent = 100.0}),
            "all 50 samples of the trace are missing");
}

TEST(TracePreparation, ManySmallGapsAreAReconstruction) {
  auto z = line(1000);
  for (std::size_t i = 10; i < 31; i += 2) cut(z, i, 1);
  EXPECT_EQ(refusal(z, {.bridge_um = 2.5}),
            "11 bridges would replace 11 of 1000 samples (1.10 %), at most 1 % may be replaced");
  const Prepared result = prepared(z, {.bridge_um = 2.5, .most_bridged_percent = 1.1});
  EXPECT_TRUE(result.outcome.has_value());
  auto exactly = line(1000);
  for (std::size_t i = 10; i < 29; i += 2) cut(exactly, i, 1);
  EXPECT_TRUE(prepared(exactly, {.bridge_um = 2.5}).outcome.has_value());
}

TEST(TracePreparation, MorePlacesThanTheListHoldsAreStillCounted) {
  auto z = line(10000);
  for (std::size_t i = 10; i < 310; i += 10) cut(z, i, 2);
  const Prepared result = prepared(z, {.bridge_um = 1.0});
  ASSERT_TRUE(result.outcome.has_value());
  EXPECT_EQ(result.report.bridges, 30U);
  EXPECT_EQ(result.report.bridged_samples, 60U);
  EXPECT_EQ(result.report.first_bridges.back().first_sample, 160U);
}

TEST(TracePreparation, SpikesStayUnlessAsked) {
  auto z = faces::ground({.sample_count = 4000, .seed = 3});
  z[1000] += 30.0;
  const Prepared result = prepared(z, {.bridge_um = 2.5});
  EXPECT_EQ(result.heights_um, z);
  EXPECT_TRUE(result.report.is_untouched());
}

TEST(TracePreparation, ASpikeIsReplacedLikeAGapAndReported) {
  auto z = faces::ground({.sample_count = 4000, .seed = 3});
  const auto clean = z;
  z[1000] += 30.0;
  z[1001] += 20.0;
  z[2000] -= 25.0;
  const Prepared result = prepared(z, {.bridge_um = 2.5, .spikes = SpikeOptions{}});
  ASSERT_TRUE(result.outcome.has_value()) << result.outcome.error().detail;
  EXPECT_EQ(result.report.missing_samples, 0U);
  EXPECT_EQ(result.report.spikes, 2U);
  EXPECT_EQ(result.report.spike_samples, 3U);
  EXPECT_EQ(result.report.bridges, 2U);
  EXPECT_EQ(result.report.first_spikes[0].first_sample, 1000U);
  EXPECT_EQ(result.report.first_spikes[0].sample_count, 2U);
  EXPECT_NEAR(result.report.first_spikes[0].height_um, 30.0, 2.0);
  EXPECT_NEAR(result.report.first_spikes[1].height_um, -25.0, 2.0);
  EXPECT_EQ(result.report.first_bridges[0],
            (BridgedGap{.first_sample = 1000, .sample_count = 2, .spike_samples = 2}));
  const double step = (clean[1002] - clean[999]) / 3.0;
  EXPECT_NEAR(result.heights_um[1000], clean[999] + step, 1e-12);
  EXPECT_NEAR(result.heights_um[1001], clean[999] + 2.0 * step, 1e-12);
  EXPECT_EQ(result.heights_um[1500], clean[1500]);
  EXPECT_THAT(sentence_about(result.report), HasSubstr("took out 2 spikes"));
}

TEST(TracePreparation, ASpikeBesideAGapMakesOneGap) {
  auto z = profiles::rough(2000, 0.02, 0, 12);
  cut(z, 1000, 4);
  z[1004] += 30.0;
  EXPECT_THAT(
      refusal(z, {.bridge_um = 2.0, .spikes = SpikeOptions{}}),
      HasSubstr("5 samples from sample 1000 on (0.5 mm) are missing (1 of them taken out as a spike): a gap "
                "of 2.5 um, at most 2 um may be bridged"));
  EXPECT_TRUE(prepared(z, {.bridge_um = 2.5, .spikes = SpikeOptions{}}).outcome.has_value());
}

TEST(TracePreparation, ASpikeThatMayNotBeBridgedMakesTheTraceInvalid) {
  auto z = profiles::rough(2000, 0.02, 0, 12);
  z[1004] += 30.0;
  EXPECT_THAT(refusal(z, {.spikes = SpikeOptions{}}), HasSubstr("(taken out as a spike)"));
}

TEST(TracePreparation, AnInfiniteHeightIsRefused) {
  auto z = line(1000);
  z[17] = -std::numeric_limits<double>::infinity();
  const Prepared result = prepared(z, {.bridge_um = 2.5});
  ASSERT_FALSE(result.outcome.has_value());
  EXPECT_EQ(result.outcome.error().code, base::ErrorCode::kNotFinite);
  EXPECT_THAT(result.outcome.error().detail, HasSubstr("sample 17 of 1000"));
}

TEST(TracePreparation, ResamplesAfterBridging) {
  auto z = line(4001);
  cut(z, 1000, 3);
  const Prepared result = prepared(z, {.bridge_um = 2.5, .resampled_spacing_mm = 0.001});
  ASSERT_TRUE(result.outcome.has_value());
  ASSERT_EQ(result.heights_um.size(), 2001U);
  for (std::size_t k = 0; k < 2001; ++k) {
    ASSERT_NEAR(result.heights_um[k], 2.0 + 30.0 * 0.001 * static_cast<double>(k), 1e-9) << k;
  }
  EXPECT_EQ(result.report.spacing_mm, 0.001);
  EXPECT_EQ(result.report.measured_spacing_mm, kSpacingMm);
  EXPECT_FALSE(result.report.is_untouched());
  EXPECT_THAT(sentence_about(result.report), HasSubstr("resampled from 0.5 um to 1 um"));
}

TEST(TracePreparation, ResamplingToTheMeasuredSpacingChangesNothing) {
  const auto z = faces::ground({.sample_count = 4000, .seed = 3});
  const Prepared result = prepared(z, {.resampled_spacing_mm = kSpacingMm});
  EXPECT_EQ(result.heights_um, z);
  EXPECT_TRUE(result.report.is_untouched());
}

TEST(TracePreparation, WorksInPlace) {
  auto z = line(1000);
  const auto whole = z;
  cut(z, 100, 5);
  const auto preparation = TracePreparation::prepare({.bridge_um = 2.5}, kSpacingMm, z.size());
  PreparationWorkspace workspace;
  PreparationReport report;
  ASSERT_TRUE(preparation->run(z, workspace, z, report).has_value());
  for (std::size_t i = 0; i < z.size(); ++i) ASSERT_NEAR(z[i], whole[i], 1e-12);
}

TEST(TracePreparation, RefusesImpossibleOptions) {
  const auto code = [](const PreparationOptions& options, double spacing_mm) {
    const auto preparation = TracePreparation::prepare(options, spacing_mm, 1000);
    return preparation.has_value() ? base::ErrorCode::kIo : preparation.error().code;
  };
  EXPECT_EQ(code({.bridge_um = -1.0}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.bridge_um = kNaN}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.most_bridged_percent = 101.0}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.resampled_spacing_mm = 0.0}, 0.0005), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.resampled_spacing_mm = 0.00025}, 0.0005), base::ErrorCode::kOutOfRange);
  EXPECT_EQ(code({.resampled_spacing_mm = 0.1}, 0.0005), base::ErrorCode::kTooShort);
  EXPECT_EQ(code({.spikes = SpikeOptions{}}, 0.01), base::ErrorCode::kOutOfRange);
  EXPECT_EQ(code({}, 0.0), base::ErrorCode::kOutOfRange);
  EXPECT_EQ(code({}, 0.0005), base::ErrorCode::kIo);
}

}  // namespace
}  // namespace crestgate::analysis
