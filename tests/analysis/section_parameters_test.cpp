// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/section_parameters.h"

#include <vector>

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

TEST(SectionParameters, ASpikeInTheLastSampleOfASectionRaisesThatSectionOnly) {
  std::vector<double> z(50, 0.0);
  z[19] = 5.0;  // last of the second of five
  const SectionParameters found = section_parameters(z, 5);
  EXPECT_DOUBLE_EQ(found.mean_peak_um, 1.0);
  EXPECT_DOUBLE_EQ(found.mean_pit_um, 0.0);
  EXPECT_DOUBLE_EQ(found.mean_height_um, 1.0);
  EXPECT_DOUBLE_EQ(found.largest_height_um, 5.0);
}

TEST(SectionParameters, NeighbouringSpikesAcrossABorderFallIntoTwoSections) {
  std::vector<double> z(50, 0.0);
  z[19] = 5.0;
  z[20] = 5.0;  // first of the third
  EXPECT_DOUBLE_EQ(section_parameters(z, 5).mean_peak_um, 2.0);
  z[20] = 0.0;
  z[18] = 5.0;  // both in the second
  EXPECT_DOUBLE_EQ(section_parameters(z, 5).mean_peak_um, 1.0);
}

TEST(SectionParameters, ASectionAboveTheLineKeepsItsNegativePit) {
  const std::vector<double> z{1.0, 3.0, -2.0, 2.0};
  const SectionParameters found = section_parameters(z, 2);
  EXPECT_DOUBLE_EQ(found.mean_peak_um, 2.5);
  EXPECT_DOUBLE_EQ(found.mean_pit_um, 0.5);  // (-1 + 2) / 2
  EXPECT_DOUBLE_EQ(found.mean_height_um, found.mean_peak_um + found.mean_pit_um);
}

}  // namespace
}  // namespace crestgate::analysis
