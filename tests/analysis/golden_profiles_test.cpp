// SPDX-License-Identifier: Apache-2.0
// Two profiles given by a formula, with values computed independently of this project's code (numpy and
// scipy, double precision, straight from the definitions of ISO 21920-2 and ISO 16610-21).
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/profiles.h"
#include "analysis/texture/core_roughness.h"
#include "analysis/texture/height_parameters.h"
#include "analysis/texture/profile_analysis.h"
#include "analysis/texture/section_parameters.h"

namespace crestgate::analysis {
namespace {

constexpr double kTenDigits = 6e-11;
constexpr double kSixDigits = 6e-7;

// G1: N = 8000, dx = 0.5 um, x = i dx in mm: r = 0.80 sin(2 pi x/0.1000+0.3) + 0.50 sin(2 pi x/0.0371+1.1)
// + 0.25 sin(2 pi x/0.0132+2.0) + 0.10 sin(2 pi x/0.2417+0.5) - 2.0 max(0, sin(2 pi x/0.61+0.9))^20; z = r -
// mean(r).
TEST(GoldenG1, HeightParameters) {
  const HeightParameters found = height_parameters(profiles::golden_g1());
  EXPECT_NEAR(found.arithmetic_mean_um, 0.6769153533, kTenDigits);
  EXPECT_NEAR(found.root_mean_square_um, 0.8441739892, kTenDigits);
  EXPECT_NEAR(found.skewness, -0.4963073904, kTenDigits);
  EXPECT_NEAR(found.kurtosis, 3.2549171707, kTenDigits);
  EXPECT_NEAR(found.highest_um, 1.8023576119, kTenDigits);
  EXPECT_NEAR(-found.lowest_um, 2.9972179358, kTenDigits);
  EXPECT_NEAR(found.highest_um - found.lowest_um, 4.7995755477, kTenDigits);
}

TEST(GoldenG1, SectionParameters) {
  const SectionParameters found = section_parameters(profiles::golden_g1(), 5);
  EXPECT_NEAR(found.mean_peak_um, 1.7319833128, kTenDigits);
  EXPECT_NEAR(found.mean_pit_um, 2.4855120639, kTenDigits);
  EXPECT_NEAR(found.mean_height_um, 4.2174953767, kTenDigits);
  EXPECT_NEAR(found.largest_height_um, 4.6950302052, kTenDigits);
}

TEST(GoldenG1, MaterialRatios) {
  std::vector<double> falling = profiles::golden_g1();
  SortWorkspace workspace;
  sort_falling(falling, falling, workspace);
  const MaterialRatioCurve curve(falling);
  EXPECT_NEAR(100.0 * curve.ratio_at(1.0), 11.532768, kSixDigits);
  EXPECT_NEAR(100.0 * curve.ratio_at(0.5), 30.431805, kSixDigits);
  EXPECT_NEAR(100.0 * curve.ratio_at(0.0), 52.050909, kSixDigits);
  EXPECT_NEAR(100.0 * curve.ratio_at(-1.0), 88.917758, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.02), 1.478031, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.10), 1.058178, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.50), 0.046496, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.98), -2.103739, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.02) - curve.height_at(0.98), 3.581771, kSixDigits);
  EXPECT_NEAR(curve.height_at(0.25) - curve.height_at(0.75), 1.187043, kSixDigits);
  EXPECT_NEAR(100.0 * curve.ratio_at(curve.height_at(0.05) - 0.5), 19.394923, kSixDigits);
  EXPECT_NEAR(100.0 * curve.ratio_at(curve.height_at(0.02) - 1.0), 31.342143, kSixDigits);
}

TEST(GoldenG1, CoreRoughness) {
  std::vector<double> falling = profiles::golden_g1();
  SortWorkspace workspace;
  sort_falling(falling, falling, workspace);
  const CoreRoughness found = core_roughness(MaterialRatioCurve(falling));
  EXPECT_NEAR(found.core_um, 2.291084, kSixDigits);
  EXPECT_NEAR(found.reduced_peak_um, 0.433856, kSixDigits);
  EXPECT_NEAR(found.reduced_valley_um, 1.154501, kSixDigits);
  EXPECT_NEAR(100.0 * found.upper_ratio, 6.195969, kSixDigits);
  EXPECT_NEAR(100.0 * found.lower_ratio, 91.165485, kSixDigits);
  EXPECT_NEAR(1000.0 * found.peak_area_um, 13.440785, kSixDigits);
  EXPECT_NEAR(1000.0 * found.valley_area_um, 50.997271, kSixDigits);
  EXPECT_NEAR(found.peak_beyond_um, 0.607411, kSixDigits);
  EXPECT_NEAR(found.valley_beyond_um, 1.901081, kSixDigits);
}

// Peaks and pits of the sections, and what the elements, features and probability plot of G1 are, by numpy
// straight from the definitions in the headers.
TEST(GoldenG1, Sections) {
  std::vector<SectionExtremes> sections(5);
  find_section_extremes(profiles::golden_g1(), sections);
  const double heights[] = {4.69503021, 4.64936253, 4.46230916, 3.68462479, 3.59615021};
  const double peaks[] = {1.69781227, 1.73759966, 1.69101345, 1.73113358, 1.80235761};
  for (std::size_t k = 0; k < 5; ++k) {
    EXPECT_NEAR(sections[k].height_um(), heights[k], 6e-9) << k;
    EXPECT_NEAR(sections[k].peak_um, peaks[k], 6e-9) << k;
  }
}

ProfileNumbers numbers_of_g1(const ElementThresholds& thresholds) {
  const auto analysis = ProfileAnalysis::prepare(
      {.spacing_mm = 0.0005, .sample_count = 8000, .evaluated_samples = 8000, .elements = thresholds});
  EXPECT_TRUE(analysis.has_value());
  ProfileWorkspace workspace;
  ProfileNumbers numbers;
  analysis->run(profiles::golden_g1(), workspace, numbers);
  return numbers;
}

TEST(GoldenG1, SpatialAndHybridParameters) {
  const ProfileNumbers found = numbers_of_g1({});
  EXPECT_NEAR(found.hybrid.root_mean_square_gradient, 0.110514921, 6e-10);
  EXPECT_NEAR(found.hybrid.arithmetic_mean_gradient, 0.090938292, 6e-10);
  EXPECT_NEAR(found.hybrid.largest_gradient, 0.302572166, 6e-10);
  EXPECT_NEAR(found.hybrid.developed_ratio_percent, 0.604458, kSixDigits);
  EXPECT_NEAR(found.hybrid.developed_length_mm, 4.023675305473632, 1e-13);
  EXPECT_NEAR(1000.0 * found.spatial.autocorrelation_length_mm, 19.508904, kSixDigits);
  EXPECT_NEAR(found.spatial.dominant_wavelength_mm, 0.1, 1e-12);
}

TEST(GoldenG1, VolumeParameters) {
  const VolumeParameters found = numbers_of_g1({}).volumes;
  EXPECT_NEAR(found.peak_material_um, 0.024329, kSixDigits);
  EXPECT_NEAR(found.core_material_um, 0.776680, kSixDigits);
  EXPECT_NEAR(found.core_void_um, 0.975367, kSixDigits);
  EXPECT_NEAR(found.dale_void_um, 0.107141, kSixDigits);
}

// The three choices of thresholds that a reader of the standard may make, and how far apart they are.
TEST(GoldenG1, ProfileElements) {
  const SectionParameters sections = numbers_of_g1({}).sections;
  const double peak_percent = 10.0 * sections.mean_peak_um / sections.mean_height_um;
  const double pit_percent = 10.0 * sections.mean_pit_um / sections.mean_height_um;
  struct Row {
    ElementThresholds thresholds;
    std::size_t boundaries;
    double rsm_um, rsmx_um, rsmq_um, rc, rcx, rcq;
  };
  const Row rows[] = {{{.hill_percent = 10.0, .dale_percent = 10.0},
                       74,
                       108.3444947,
                       194.65072928,
                       28.476855879,
                       2.8104827410,
                       4.6253423090,
                       0.54352028462},
                      {{.hill_percent = peak_percent, .dale_percent = pit_percent},
                       100,
                       79.600036922,
                       194.58583904,
                       38.647560383,
                       2.2763905674,
                       4.6253423090,
                       0.89934351216},
                      {{.hill_percent = 0.0, .dale_percent = 0.0},
                       164,
                       48.317464705,
                       193.67260339,
                       35.410851210,
                       1.5970639136,
                       4.6253423090,
                       0.98174336633}};
  for (const Row& row : rows) {
    const ElementParameters found = numbers_of_g1(row.thresholds).elements;
    EXPECT_EQ(found.boundary_count, row.boundaries);
    EXPECT_TRUE(found.has_elements);
    EXPECT_NEAR(1000.0 * found.mean_spacing_mm, row.rsm_um, 1e-6);
    EXPECT_NEAR(1000.0 * found.largest_spacing_mm, row.rsmx_um, 1e-6);
    EXPECT_NEAR(1000.0 * found.spacing_deviation_mm, row.rsmq_um, 1e-6);
    EXPECT_NEAR(found.mean_height_um, row.rc, 1e-9);
    EXPECT_NEAR(found.largest_height_um, row.rcx, 1e-9);
    EXPECT_NEAR(found.height_deviation_um, row.rcq, 1e-9);
    EXPECT_NEAR(found.peaks_per_cm, 10000.0 / row.rsm_um, 1e-5);
  }
}

TEST(GoldenG1, FeatureParameters) {
  const FeatureParameters found = numbers_of_g1({}).features;
  EXPECT_EQ(found.peak_count, 156U);
  EXPECT_EQ(found.pit_count, 157U);
  EXPECT_DOUBLE_EQ(found.peak_density_per_mm, 39.0);
  EXPECT_DOUBLE_EQ(found.pit_density_per_mm, 39.25);
  EXPECT_NEAR(found.peak_curvature_per_mm, 53.692981301, 1e-6);
  EXPECT_NEAR(found.pit_curvature_per_mm, 53.628465376, 1e-6);
  EXPECT_NEAR(found.five_peak_height_um, 1.736496510913, 1e-11);
  EXPECT_NEAR(found.five_pit_depth_um, 2.758858506717, 1e-11);
  EXPECT_NEAR(found.ten_point_height_um, 4.495355017630, 1e-11);
}

TEST(GoldenG1, ProbabilityParameters) {
  const ProbabilityParameters found = numbers_of_g1({}).probability;
  EXPECT_TRUE(found.has_two_processes);
  EXPECT_NEAR(found.plateau_deviation_um, 0.500063538167, 1e-10);
  EXPECT_NEAR(found.valley_deviation_um, 1.023829088148, 1e-10);
  EXPECT_NEAR(found.transition_ratio, 0.2983125, 1e-12);
}

// G2: N = 5601, dx = 1 um, lambda_c = 0.8 mm: z = 0.3 sin(2 pi x/0.05) + 0.2 sin(2 pi x/0.021+1) + 1.0 sin(2
// pi x/4)
// - 4 where (i mod 400) in 200..229. The values are of the untruncated kernel, order-0 regression at the
// ends; our kernel ends at one cut-off and may differ by 1.8e-7 of the height range of 5.7 um.
TEST(GoldenG2, GaussianMeanLine) {
  std::vector<double> z = profiles::sampled(5601, 0.001, [](double x) {
    return 0.3 * profiles::sine(x, 0.05) + 0.2 * profiles::sine(x, 0.021, 1.0) + profiles::sine(x, 4.0);
  });
  for (std::size_t i = 0; i < z.size(); ++i) {
    if (i % 400 >= 200 && i % 400 < 230) z[i] -= 4.0;
  }
  const auto filter =
      GaussianLowPass::prepare({.cutoff_mm = 0.8, .spacing_mm = 0.001, .sample_count = z.size()});
  ASSERT_TRUE(filter.has_value());
  std::vector<double> w(z.size());
  FilterWorkspace workspace;
  filter->apply(z, w, workspace);
  const std::pair<std::size_t, double> expected[] = {{0, -0.030399},   {100, -0.061422}, {400, 0.309711},
                                                     {800, 0.661237},  {1400, 0.450692}, {2800, -1.188863},
                                                     {4800, 0.661237}, {5600, 0.408982}};
  for (const auto& [index, value] : expected) EXPECT_NEAR(w[index], value, 2e-6) << index;
  std::vector<double> r;
  for (std::size_t i = 800; i < 4800; ++i) r.push_back(z[i] - w[i]);
  const HeightParameters found = height_parameters(r);
  EXPECT_NEAR(found.arithmetic_mean_um, 0.552579, 2e-6);
  EXPECT_NEAR(found.root_mean_square_um, 1.024649, 2e-6);
  EXPECT_NEAR(found.lowest_um, -3.890234, 2e-6);
}

}  // namespace
}  // namespace crestgate::analysis
