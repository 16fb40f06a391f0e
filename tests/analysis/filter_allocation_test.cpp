// SPDX-License-Identifier: Apache-2.0
// Warm filters allocate nothing.
#include <vector>

#include <gtest/gtest.h>

#include "analysis/allocation_counter.h"
#include "analysis/filters/mean_line.h"
#include "analysis/morphology/disk_filter.h"
#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

constexpr std::size_t kCount = 11200;

TEST(FilterAllocations, AWarmMeanLineMakesNone) {
  const std::vector<double> flat(kCount, 1.0);
  const std::vector<double> rough = profiles::rough(kCount, 0.5, 20, 1);
  std::vector<double> line(kCount);
  for (const FilterKind kind : {FilterKind::kGaussian, FilterKind::kRobustOrder0, FilterKind::kRobustOrder2,
                                FilterKind::kSpline, FilterKind::kTwoStep}) {
    for (const EndRule ends : {EndRule::kRenormalised, EndRule::kMomentOrder1, EndRule::kZero,
                               EndRule::kExtrapolated, EndRule::kReflected, EndRule::kPointReflected}) {
      for (const double cutoff_mm : {0.0025, 0.8}) {
        const auto filter = MeanLine::prepare({.kind = kind,
                                               .cutoff_mm = cutoff_mm,
                                               .spacing_mm = 0.0005,
                                               .sample_count = kCount,
                                               .ends = ends});
        ASSERT_TRUE(filter.has_value());
        FilterWorkspace workspace;
        filter->apply(flat, line, workspace);
        const std::size_t before = allocations;
        const MeanLineReport report = filter->apply(rough, line, workspace);
        const std::size_t made = allocations - before;
        EXPECT_EQ(made, 0U) << static_cast<int>(kind) << " " << static_cast<int>(ends);
        const bool robust = kind == FilterKind::kRobustOrder0 || kind == FilterKind::kRobustOrder2;
        EXPECT_EQ(report.passes > 1, robust);
      }
    }
  }
}

TEST(FilterAllocations, AWarmRollingDiskMakesNone) {
  const std::vector<double> flat(kCount, 1.0);
  const std::vector<double> rough = profiles::rough(kCount, 0.5, 20, 1);
  std::vector<double> result(kCount);
  for (const double radius_mm : {0.0001, 0.002, 5.0}) {
    const auto disk =
        RollingDisk::prepare({.radius_mm = radius_mm, .spacing_mm = 0.0005, .sample_count = kCount});
    RollingDiskWorkspace workspace;
    disk->open(flat, result, workspace);
    const std::size_t before = allocations;
    disk->close(rough, result, workspace);
    disk->open(rough, result, workspace);
    disk->trace(rough, result, workspace);
    disk->erode(rough, result, workspace);
    EXPECT_EQ(allocations - before, 0U);
  }
}

}  // namespace
}  // namespace crestgate::analysis
