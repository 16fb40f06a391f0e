// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/profile_analysis.h"

#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

using enum ParameterFamily;

ProfileAnalysisOptions over(std::size_t samples, std::size_t run_up = 0) {
  return {.spacing_mm = 0.0005,
          .sample_count = samples + 2 * run_up,
          .first_sample = run_up,
          .evaluated_samples = samples};
}

ProfileNumbers numbers_of(const std::vector<double>& z, const ProfileAnalysisOptions& options) {
  const auto analysis = ProfileAnalysis::prepare(options);
  EXPECT_TRUE(analysis.has_value());
  ProfileWorkspace workspace;
  ProfileNumbers numbers;
  analysis->run(z, workspace, numbers);
  return numbers;
}

// Every number in one list, so that two analyses can be compared whole.
std::vector<double> all_of(const ProfileNumbers& n) {
  const auto count = [](std::size_t value) { return static_cast<double>(value); };
  return {n.heights.arithmetic_mean_um,
          n.heights.root_mean_square_um,
          n.heights.skewness,
          n.heights.kurtosis,
          n.heights.highest_um,
          n.heights.lowest_um,
          n.sections.mean_peak_um,
          n.sections.mean_pit_um,
          n.sections.mean_height_um,
          n.sections.largest_height_um,
          n.spatial.autocorrelation_length_mm,
          n.spatial.dominant_wavelength_mm,
          n.hybrid.root_mean_square_gradient,
          n.hybrid.arithmetic_mean_gradient,
          n.hybrid.largest_gradient,
          n.hybrid.developed_length_mm,
          n.hybrid.developed_ratio_percent,
          count(n.elements.boundary_count),
          n.elements.mean_spacing_mm,
          n.elements.largest_spacing_mm,
          n.elements.spacing_deviation_mm,
          n.elements.mean_height_um,
          n.elements.largest_height_um,
          n.elements.height_deviation_um,
          n.elements.peaks_per_cm,
          count(n.features.peak_count),
          count(n.features.pit_count),
          n.features.peak_density_per_mm,
          n.features.pit_density_per_mm,
          n.features.peak_curvature_per_mm,
          n.features.pit_curvature_per_mm,
          n.features.five_peak_height_um,
          n.features.five_pit_depth_um,
          n.features.ten_point_height_um,
          n.core.core_um,
          n.core.reduced_peak_um,
          n.core.reduced_valley_um,
          n.core.upper_ratio,
          n.core.lower_ratio,
          n.core.peak_area_um,
          n.core.valley_area_um,
          n.core.peak_beyond_um,
          n.core.valley_beyond_um,
          n.probability.plateau_deviation_um,
          n.probability.valley_deviation_um,
          n.probability.transition_ratio,
          n.volumes.peak_material_um,
          n.volumes.core_material_um,
          n.volumes.core_void_um,
          n.volumes.dale_void_um};
}

// A ground face with grooves: two processes, peaks, pits and waves of its own.
std::vector<double> grooved(std::size_t count, std::uint64_t seed) {
  auto z = profiles::rough(count, 0.2, 6, seed);
  const auto grooves = profiles::rough(count, 1.0, 9, seed + 1);
  double mean = 0.0;
  for (std::size_t i = 0; i < count; ++i) {
    z[i] = std::min(z[i], grooves[i] + 0.8);
    mean += z[i] / static_cast<double>(count);
  }
  for (double& value : z) value -= mean;
  return z;
}

std::vector<double> changed(std::vector<double> z, double factor, double shift_um) {
  for (double& value : z) value = factor * value + shift_um;
  return z;
}

TEST(ProfileAnalysis, ComputesOnlyWhatIsWantedAndWhatThatRestsOn) {
  const auto z = grooved(8000, 3);
  const auto analysis = ProfileAnalysis::prepare(over(8000));
  ASSERT_TRUE(analysis.has_value());
  ProfileWorkspace workspace;
  ProfileNumbers whole;
  analysis->run(z, workspace, whole);
  EXPECT_EQ(whole.computed, FamilySet::all());
  EXPECT_EQ(workspace.falling_um().size(), 8000U);
  EXPECT_EQ(workspace.sections().size(), 5U);
  EXPECT_EQ(workspace.features().size(), whole.features.peak_count + whole.features.pit_count);

  ProfileNumbers some;
  analysis->run(z, {kElements}, workspace, some);
  EXPECT_EQ(some.computed, FamilySet({kElements, kSections}));
  EXPECT_EQ(some.elements.mean_spacing_mm, whole.elements.mean_spacing_mm);
  EXPECT_EQ(some.sections.mean_height_um, whole.sections.mean_height_um);
  EXPECT_EQ(some.heights.arithmetic_mean_um, 0.0);
  EXPECT_EQ(some.core.core_um, 0.0);
  EXPECT_TRUE(workspace.falling_um().empty());
  EXPECT_TRUE(workspace.features().empty());

  analysis->run(z, {kVolumes}, workspace, some);
  EXPECT_EQ(some.computed, FamilySet({kVolumes, kCurve}));
  EXPECT_EQ(some.volumes.core_void_um, whole.volumes.core_void_um);
  EXPECT_EQ(workspace.falling_um().size(), 8000U);
  EXPECT_TRUE(workspace.sections().empty());

  ProfileAnalysisOptions options = over(8000);
  options.families = {kHeights, kHybrid};
  const ProfileNumbers few = numbers_of(z, options);
  EXPECT_EQ(few.computed, FamilySet({kHeights, kHybrid}));
  EXPECT_EQ(few.heights.kurtosis, whole.heights.kurtosis);
  EXPECT_EQ(few.hybrid.developed_length_mm, whole.hybrid.developed_length_mm);
}

TEST(ProfileAnalysis, ASecondRunWithTheSameWorkspaceGivesTheSameBits) {
  const auto analysis = ProfileAnalysis::prepare(over(1600 * 5, 700));
  ASSERT_TRUE(analysis.has_value());
  const auto z = grooved(9400, 5);
  ProfileWorkspace workspace;
  ProfileNumbers first;
  ProfileNumbers second;
  analysis->run(z, workspace, first);
  analysis->run(grooved(9400, 6), workspace, second);
  EXPECT_NE(all_of(first), all_of(second));
  analysis->run(z, workspace, second);
  EXPECT_EQ(all_of(first), all_of(second));
}

TEST(ProfileAnalysis, OnlyGradientsAndCurvaturesLookBeyondTheEvaluationLength) {
  auto z = grooved(9400, 7);
  const auto plain = all_of(numbers_of(z, over(8000, 700)));
  for (std::size_t i = 0; i < 600; ++i) z[i] = z[z.size() - 1 - i] = 100.0;
  EXPECT_EQ(all_of(numbers_of(z, over(8000, 700))), plain);
}

TEST(ProfileAnalysis, HandsOutTheSections) {
  auto z = grooved(8000, 8);
  z[3199] = 9.0;  // last sample of the second section
  z[3200] = -9.0;
  const auto analysis = ProfileAnalysis::prepare(over(8000));
  ASSERT_TRUE(analysis.has_value());
  ProfileWorkspace workspace;
  ProfileNumbers numbers;
  analysis->run(z, workspace, numbers);
  EXPECT_EQ(workspace.sections()[1].peak_um, 9.0);
  EXPECT_EQ(workspace.sections()[2].pit_um, 9.0);
  EXPECT_LT(workspace.sections()[2].peak_um, 9.0);
  double heights = 0.0;
  for (const SectionExtremes& section : workspace.sections()) heights += section.height_um() / 5.0;
  EXPECT_NEAR(numbers.sections.mean_height_um, heights, 1e-14);
}

// Twelve digits: everything that is a height grows with the scale, what is a ratio, length or count does not.
TEST(ProfileAnalysis, HeightsGrowWithTheScale) {
  const auto z = grooved(8000, 11);
  const double factor = 3.7;
  const ProfileNumbers a = numbers_of(z, over(8000));
  const ProfileNumbers b = numbers_of(changed(z, factor, 0.0), over(8000));
  ASSERT_TRUE(a.probability.has_two_processes);
  const auto list_a = all_of(a);
  const auto list_b = all_of(b);
  // Rsk Rku, Ral Rsw, counts, spacings, densities, material ratios keep their value; Rdl Rdr follow no power
  // at all.
  const std::vector<std::size_t> unchanged = {2, 3, 10, 11, 17, 18, 19, 20, 24, 25, 26, 27, 28, 37, 38, 45};
  const std::vector<std::size_t> no_power = {15, 16};
  for (std::size_t i = 0; i < list_a.size(); ++i) {
    if (std::ranges::find(no_power, i) != no_power.end()) continue;
    const bool keeps = std::ranges::find(unchanged, i) != unchanged.end();
    EXPECT_NEAR(list_b[i], (keeps ? 1.0 : factor) * list_a[i], 1e-11 * std::abs(list_b[i]) + 1e-13) << i;
    EXPECT_NE(list_a[i], 0.0) << i;
  }
}

// hypot does not scale: a check that works by scaling would be wrong for these two, and this one says so.
TEST(ProfileAnalysis, TheDevelopedLengthDoesNotGrowWithTheScale) {
  const auto z = grooved(8000, 11);
  const HybridParameters a = numbers_of(z, over(8000)).hybrid;
  const HybridParameters b = numbers_of(changed(z, 2.0, 0.0), over(8000)).hybrid;
  EXPECT_NEAR(b.root_mean_square_gradient, 2.0 * a.root_mean_square_gradient, 1e-14);
  // For small slopes Rdr is half the mean square of the slope: nearly four times as large, but not quite.
  EXPECT_GT(b.developed_ratio_percent, 3.5 * a.developed_ratio_percent);
  EXPECT_LT(b.developed_ratio_percent, 3.999 * a.developed_ratio_percent);
  EXPECT_GT(b.developed_length_mm, a.developed_length_mm);
  EXPECT_LT(b.developed_length_mm, 1.5 * a.developed_length_mm);
}

TEST(ProfileAnalysis, AShiftMovesPeaksAndPitsAndNothingThatIsADifference) {
  const auto z = grooved(8000, 12);
  const double shift = 0.01;
  ProfileAnalysisOptions options = over(8000);
  options.families = {kHeights, kSections, kHybrid, kFeatures, kCurve, kProbability, kVolumes};
  const ProfileNumbers a = numbers_of(z, options);
  const ProfileNumbers b = numbers_of(changed(z, 1.0, shift), options);
  constexpr double kBound = 1e-11;
  EXPECT_NEAR(b.heights.highest_um, a.heights.highest_um + shift, kBound);
  EXPECT_NEAR(b.heights.lowest_um, a.heights.lowest_um + shift, kBound);
  EXPECT_NEAR(b.sections.mean_peak_um, a.sections.mean_peak_um + shift, kBound);
  EXPECT_NEAR(b.sections.mean_pit_um, a.sections.mean_pit_um - shift, kBound);
  EXPECT_NEAR(b.sections.mean_height_um, a.sections.mean_height_um, kBound);
  EXPECT_NEAR(b.sections.largest_height_um, a.sections.largest_height_um, kBound);
  EXPECT_NEAR(b.hybrid.root_mean_square_gradient, a.hybrid.root_mean_square_gradient, kBound);
  EXPECT_NEAR(b.hybrid.developed_ratio_percent, a.hybrid.developed_ratio_percent, kBound);
  EXPECT_EQ(b.features.peak_count, a.features.peak_count);
  EXPECT_EQ(b.features.pit_count, a.features.pit_count);
  EXPECT_NEAR(b.features.peak_curvature_per_mm, a.features.peak_curvature_per_mm, 1e-8);
  EXPECT_NEAR(b.features.five_peak_height_um, a.features.five_peak_height_um + shift, kBound);
  EXPECT_NEAR(b.features.five_pit_depth_um, a.features.five_pit_depth_um - shift, kBound);
  EXPECT_NEAR(b.features.ten_point_height_um, a.features.ten_point_height_um, kBound);
  EXPECT_NEAR(b.core.core_um, a.core.core_um, kBound);
  EXPECT_NEAR(b.core.reduced_peak_um, a.core.reduced_peak_um, kBound);
  EXPECT_NEAR(b.core.reduced_valley_um, a.core.reduced_valley_um, kBound);
  EXPECT_NEAR(b.core.upper_ratio, a.core.upper_ratio, kBound);
  EXPECT_NEAR(b.probability.plateau_deviation_um, a.probability.plateau_deviation_um, kBound);
  EXPECT_NEAR(b.probability.valley_deviation_um, a.probability.valley_deviation_um, kBound);
  EXPECT_EQ(b.probability.transition_ratio, a.probability.transition_ratio);
  EXPECT_NEAR(b.volumes.peak_material_um, a.volumes.peak_material_um, kBound);
  EXPECT_NEAR(b.volumes.core_material_um, a.volumes.core_material_um, kBound);
  EXPECT_NEAR(b.volumes.core_void_um, a.volumes.core_void_um, kBound);
  EXPECT_NEAR(b.volumes.dale_void_um, a.volumes.dale_void_um, kBound);
}

TEST(ProfileAnalysis, TurningTheProfileOverSwapsWhatIsAboveAndBelow) {
  const auto z = grooved(8000, 13);
  ProfileAnalysisOptions options = over(8000);
  options.elements = {.hill_percent = 12.0, .dale_percent = 7.0};
  const ProfileNumbers a = numbers_of(z, options);
  options.elements = {.hill_percent = 7.0, .dale_percent = 12.0};
  const ProfileNumbers b = numbers_of(changed(z, -1.0, 0.0), options);
  constexpr double kBound = 1e-12;
  EXPECT_NEAR(b.heights.arithmetic_mean_um, a.heights.arithmetic_mean_um, kBound);
  EXPECT_NEAR(b.heights.skewness, -a.heights.skewness, kBound);
  EXPECT_NEAR(b.heights.kurtosis, a.heights.kurtosis, kBound);
  EXPECT_EQ(b.heights.highest_um, -a.heights.lowest_um);
  EXPECT_NEAR(b.sections.mean_peak_um, a.sections.mean_pit_um, kBound);
  EXPECT_NEAR(b.sections.mean_pit_um, a.sections.mean_peak_um, kBound);
  EXPECT_NEAR(b.spatial.autocorrelation_length_mm, a.spatial.autocorrelation_length_mm, kBound);
  EXPECT_EQ(b.spatial.dominant_wavelength_mm, a.spatial.dominant_wavelength_mm);
  EXPECT_EQ(b.hybrid.root_mean_square_gradient, a.hybrid.root_mean_square_gradient);
  EXPECT_EQ(b.hybrid.arithmetic_mean_gradient, a.hybrid.arithmetic_mean_gradient);
  EXPECT_EQ(b.hybrid.largest_gradient, a.hybrid.largest_gradient);
  EXPECT_EQ(b.hybrid.developed_length_mm, a.hybrid.developed_length_mm);
  EXPECT_EQ(b.elements.boundary_count, a.elements.boundary_count);
  EXPECT_NEAR(b.elements.mean_spacing_mm, a.elements.mean_spacing_mm, kBound);
  EXPECT_NEAR(b.elements.mean_height_um, a.elements.mean_height_um, kBound);
  EXPECT_EQ(b.features.peak_count, a.features.pit_count);
  EXPECT_EQ(b.features.pit_count, a.features.peak_count);
  EXPECT_NEAR(b.features.peak_curvature_per_mm, a.features.pit_curvature_per_mm, kBound);
  EXPECT_NEAR(b.features.five_peak_height_um, a.features.five_pit_depth_um, kBound);
  EXPECT_NEAR(b.core.core_um, a.core.core_um, 1e-9);
  EXPECT_NEAR(b.core.reduced_peak_um, a.core.reduced_valley_um, 1e-9);
  EXPECT_NEAR(b.core.reduced_valley_um, a.core.reduced_peak_um, 1e-9);
  EXPECT_NEAR(b.core.upper_ratio, 1.0 - a.core.lower_ratio, 1e-9);
  // Mirrored volumes are read at 10 % and 80 %, not at 20 % and 90 %: only their identity survives, see
  // volume_parameters_test. Valleys turned into peaks are no plateau with valleys any more.
  EXPECT_TRUE(a.probability.has_two_processes);
  EXPECT_FALSE(b.probability.has_two_processes);
}

TEST(ProfileAnalysis, ALevelProfileHasNumbersOrSaysThatItHasNone) {
  const ProfileNumbers found = numbers_of(std::vector<double>(8000, 0.0), over(8000));
  for (const double number : all_of(found)) EXPECT_TRUE(std::isfinite(number));
  EXPECT_FALSE(found.heights.has_shape);
  EXPECT_FALSE(found.spatial.has_autocorrelation_length);
  EXPECT_FALSE(found.spatial.has_dominant_wavelength);
  EXPECT_FALSE(found.elements.has_elements);
  EXPECT_FALSE(found.features.has_five_peaks);
  EXPECT_FALSE(found.probability.has_two_processes);
}

TEST(ProfileAnalysis, OptionsThatNoProfileSuitsAreRefusedWithASentence) {
  const auto refused = [](const ProfileAnalysisOptions& options, const char* words) {
    const auto analysis = ProfileAnalysis::prepare(options);
    ASSERT_FALSE(analysis.has_value()) << words;
    EXPECT_THAT(analysis.error().detail, testing::HasSubstr(words));
  };
  ProfileAnalysisOptions options = over(8000);
  options.spacing_mm = 0.0;
  refused(options, "the sample spacing must be a positive number of mm, found 0");
  options.spacing_mm = std::nan("");
  refused(options, "found nan");
  options = over(8000);
  options.sample_count = 7999;
  refused(options, "8000 samples from sample 0 must lie within the trace of 7999 samples");
  options = over(8000);
  options.first_sample = 1;
  refused(options, "from sample 1 must lie within");
  options = over(6);
  refused(options, "at least 7 samples, found 6");
  options = over(8000);
  options.sections = 3;
  refused(options, "8000 samples cannot be cut into 3 equal sections");
  options.sections = 0;
  refused(options, "0 equal sections");
  options = over(8000);
  options.elements.hill_percent = -1.0;
  refused(options, "0 to 100 % of Rz, found -1 % and 10 %");
  options.elements = {.hill_percent = 10.0, .dale_percent = 101.0};
  refused(options, "found 10 % and 101 %");
  options = over(8000);
  options.pruning_percent = 0.0;
  refused(options, "more than 0 and at most 100 % of Rz, found 0 %");
  options = over(8000);
  options.curvature_half_width_mm = -0.1;
  refused(options, "found -0.1 mm");
  options.curvature_half_width_mm = 4.1;
  refused(options, "0 (none) to the evaluation length of 4 mm, found 4.1 mm");
}

}  // namespace
}  // namespace crestgate::analysis
