// SPDX-License-Identifier: Apache-2.0
// A warm computation allocates nothing.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/allocation_counter.h"
#include "analysis/face/face_form.h"
#include "analysis/face/face_length.h"
#include "analysis/faces.h"
#include "analysis/judging/part_judge.h"
#include "analysis/profile/trace_preparation.h"
#include "analysis/profiles.h"
#include "analysis/texture/profile_analysis.h"
#include "analysis/texture/texture_computation.h"
#include "analysis/waves/drive_waves.h"

namespace crestgate::analysis {
namespace {

TextureSettings everything(FormKind form) {
  TextureSettings settings;
  settings.form = {.kind = form, .degree = 2};  // the highest beside waves
  for (const char* symbol : {"Rmr(5%,1.0um)", "Rmr(0.5um)", "Rmc(10%)", "Rdc(2%,98%)", "Pmr(5%,1.0um)"}) {
    settings.ratios.push_back(*parse_ratio_symbol(symbol));
  }
  settings.face = FaceFormSettings{};
  settings.waves = WaveBand{.shortest_mm = 0.8, .longest_mm = 5.0};
  return settings;
}

TEST(Allocations, AreCounted) {
  const std::size_t before = allocations;
  const std::vector<double> memory(10, 0.0);
  EXPECT_EQ(allocations - before, 1U);
  EXPECT_EQ(memory.size(), 10U);
}

TEST(Allocations, AWarmComputationMakesNone) {
  for (const FormKind form : {FormKind::kNone, FormKind::kLine, FormKind::kArc, FormKind::kPolynomial}) {
    for (const EndRule ends : {EndRule::kRenormalised, EndRule::kReflected}) {
      TextureSettings settings = everything(form);
      settings.ends = ends;
      const auto computation = TextureComputation::prepare(settings, 0.0005, 11200);
      ASSERT_TRUE(computation.has_value());
      const auto quiet = profiles::rough(11200, 0.5, 20, 1);
      auto wavy = profiles::rough(11200, 0.5, 20, 2);
      for (std::size_t i = 0; i < wavy.size(); ++i) {
        wavy[i] += profiles::sine(static_cast<double>(i) * 0.0005, 1.4) +
                   profiles::sine(static_cast<double>(i) * 0.0005, 0.9);
      }
      Workspace workspace;
      std::vector<ParameterValue> values(computation->names().size());
      ASSERT_TRUE(computation->run(quiet, workspace, values).has_value());
      const std::size_t before = allocations;
      const bool first = computation->run(wavy, workspace, values).has_value();
      const bool second = computation->run(quiet, workspace, values).has_value();
      const std::size_t made = allocations - before;
      EXPECT_TRUE(first && second);
      EXPECT_EQ(made, 0U);
    }
  }
}

TEST(Allocations, AWarmPreparationMakesNone) {
  const auto preparation = TracePreparation::prepare(
      {.bridge_um = 2.5, .spikes = SpikeOptions{}, .resampled_spacing_mm = 0.00075}, 0.0005, 11200);
  ASSERT_TRUE(preparation.has_value());
  const auto whole = faces::ground({.seed = 1});
  auto damaged = faces::ground({.seed = 2});
  for (std::size_t i = 500; i < 11000; i += 500) {
    damaged[i] = std::numeric_limits<double>::quiet_NaN();
    damaged[i + 100] += 30.0;
  }
  PreparationWorkspace workspace;
  PreparationReport report;
  std::vector<double> prepared_um(preparation->output_count());
  ASSERT_TRUE(preparation->run(whole, workspace, prepared_um, report).has_value());
  const std::size_t before = allocations;
  const bool done = preparation->run(damaged, workspace, prepared_um, report).has_value();
  const std::size_t made = allocations - before;
  EXPECT_TRUE(done);
  EXPECT_EQ(report.bridges, 42U);
  EXPECT_EQ(made, 0U);
}

// One length that the transform likes and one that it does not; profiles that differ in all that has a
// number: runs, features, spread of heights.
TEST(Allocations, AWarmProfileAnalysisMakesNone) {
  for (const std::size_t samples : {8000U, 5U * 1601U}) {
    const auto analysis = ProfileAnalysis::prepare({.spacing_mm = 0.0005,
                                                    .sample_count = samples + 1000,
                                                    .first_sample = 500,
                                                    .evaluated_samples = samples});
    ASSERT_TRUE(analysis.has_value());
    const auto smooth =
        profiles::sampled(samples + 1000, 0.0005, [](double x) { return profiles::sine(x, 1.3); });
    auto ragged = profiles::rough(samples + 1000, 0.5, 0, 2);
    ragged[4000] = 1e6;  // no ladder suits these heights
    ProfileWorkspace workspace;
    ProfileNumbers numbers;
    analysis->run(smooth, workspace, numbers);
    const std::size_t before = allocations;
    analysis->run(ragged, workspace, numbers);
    ragged[4000] = 0.0;
    analysis->run(ragged, workspace, numbers);
    analysis->run(smooth, workspace, numbers);
    const std::size_t made = allocations - before;
    EXPECT_EQ(made, 0U);
  }
}

TEST(Allocations, AWarmWaveSearchAndFaceFormMakeNone) {
  const auto search = WaveSearch::prepare({.band = {.shortest_mm = 0.5, .longest_mm = 5.0},
                                           .form = {.kind = FormKind::kArc},
                                           .spacing_mm = 0.0005,
                                           .sample_count = 16384});
  const auto form = FaceForm::prepare({.settings = {}, .spacing_mm = 0.0005, .sample_count = 16384});
  ASSERT_TRUE(search.has_value() && form.has_value());
  const auto quiet = profiles::rough(16384, 0.3, 20, 4);
  auto wavy = quiet;
  for (std::size_t i = 0; i < wavy.size(); ++i) {
    wavy[i] += profiles::sine(static_cast<double>(i) * 0.0005, 1.4) +
               profiles::sine(static_cast<double>(i) * 0.0005, 0.9);
  }
  WaveWorkspace waves;
  FaceWorkspace face;
  std::size_t components = 0;
  const auto run = [&](const std::vector<double>& heights_um) {
    const std::size_t before = allocations;
    const auto found = find_drive_waves(*search, heights_um, waves);
    const auto finding = search->find(heights_um, waves);
    components = finding->component_count;
    const FaceFinding measured = form->measure(heights_um, finding->components(), face);
    const std::size_t made = allocations - before;
    EXPECT_TRUE(found.has_value() && measured.has_edges);
    return made;
  };
  EXPECT_GT(run(quiet), 0U);
  EXPECT_EQ(run(wavy), 0U);
  EXPECT_GE(components, 2U);
  EXPECT_EQ(run(quiet), 0U);
}

TEST(Allocations, OfASecondPartAreOnlyItsDecision) {
  ZonePlan zone;
  zone.name = "crest A";
  zone.settings = everything(FormKind::kLine);
  zone.limits = {{.symbol = "Ra",
                  .unit = "um",
                  .lower = std::nullopt,
                  .upper = 5.0,
                  .rule = base::AcceptanceRule::kMaximum}};
  PartJudge judge({.zones = {zone}});
  std::vector<std::int32_t> counts;
  for (const double z : profiles::rough(11200, 0.5, 20, 3))
    counts.push_back(static_cast<std::int32_t>(z * 1000.0));
  const TraceInput trace{.zone_index = 0, .spacing_mm = 0.0005, .height_step_um = 0.001, .counts = counts};
  const auto cost = [&] {
    const std::size_t before = allocations;
    const PartDecision decision = judge.judge(std::span(&trace, 1));
    EXPECT_EQ(decision.verdict, base::Verdict::kAccept) << decision.detail;
    return allocations - before;
  };
  const std::size_t cold = cost();
  const std::size_t warm = cost();
  EXPECT_LT(warm, cold);
  EXPECT_EQ(cost(), warm);
  EXPECT_LT(warm, 400U);  // names, results and the sentence
}

// A face of 14 mm on an arc, chamfered at both ends.
std::vector<double> identified_face(std::uint64_t seed) {
  auto heights_um = profiles::rough(32000, 0.5, 20, seed);
  for (std::size_t i = 0; i < heights_um.size(); ++i) {
    const double u_mm = static_cast<double>(i) * 0.0005 - 8.0;
    heights_um[i] += 1000.0 * (std::sqrt(22.0 * 22.0 - u_mm * u_mm) - 22.0);
    heights_um[i] -= 1000.0 * std::max(0.0, std::abs(u_mm) - 7.0);
  }
  return heights_um;
}

TEST(Allocations, AWarmFaceLengthMakesNone) {
  const auto length = FaceLength::prepare({.spacing_mm = 0.0005, .sample_count = 32000});
  ASSERT_TRUE(length.has_value());
  FaceLengthWorkspace workspace;
  const auto first = profiles::rough(32000, 0.5, 20, 1);
  auto second = first;
  for (std::size_t i = 28000; i < second.size(); ++i) second[i] -= 300.0;
  length->measure(first, workspace);
  const std::size_t before = allocations;
  const FaceLengthFinding found = length->measure(second, workspace);
  const std::size_t made = allocations - before;
  EXPECT_TRUE(found.end_mm.has_value());
  EXPECT_EQ(made, 0U);
}

// What identifies the part costs a warm judge no memory: the same decision without it takes as much.
TEST(Allocations, IdentityCostsAWarmJudgeNone) {
  ZonePlan zone;
  zone.name = "crest A";
  zone.settings.form.kind = FormKind::kArc;
  zone.limits = {{.symbol = "Ra",
                  .unit = "um",
                  .lower = std::nullopt,
                  .upper = 5.0,
                  .rule = base::AcceptanceRule::kMaximum}};
  std::vector<std::int32_t> counts;
  for (const double z : identified_face(3)) counts.push_back(static_cast<std::int32_t>(z * 1000.0));
  const TraceInput trace{.zone_index = 0, .spacing_mm = 0.0005, .height_step_um = 0.001, .counts = counts};
  const auto cost_of = [&trace](const ZonePlan& judged) {
    PartJudge judge({.zones = {judged}});
    judge.judge(std::span(&trace, 1));
    const std::size_t before = allocations;
    const PartDecision decision = judge.judge(std::span(&trace, 1));
    const std::size_t made = allocations - before;
    EXPECT_EQ(decision.verdict, base::Verdict::kAccept) << decision.detail;
    return made;
  };
  const std::size_t without = cost_of(zone);
  zone.identity = {.radius_mm = Band{21.5, 22.5}, .face_length_mm = Band{13.5, 14.5}};
  EXPECT_EQ(cost_of(zone), without);
}

}  // namespace
}  // namespace crestgate::analysis
