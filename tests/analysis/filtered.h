// SPDX-License-Identifier: Apache-2.0
#pragma once
// One call of a filter, as a test wants it.

#include <vector>

#include <gtest/gtest.h>

#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/filters/spline_filter.h"

namespace crestgate::analysis {

inline std::vector<double> mean_line(const std::vector<double>& heights, LowPassOptions options) {
  options.sample_count = heights.size();
  const auto filter = GaussianLowPass::prepare(options);
  EXPECT_TRUE(filter.has_value());
  std::vector<double> result(heights.size());
  FilterWorkspace workspace;
  filter->apply(heights, result, workspace);
  return result;
}

inline std::vector<double> spline(const std::vector<double>& heights, SplineOptions options) {
  options.sample_count = heights.size();
  const auto filter = SplineFilter::prepare(options);
  EXPECT_TRUE(filter.has_value());
  std::vector<double> result(heights.size());
  filter->apply(heights, result);
  return result;
}

}  // namespace crestgate::analysis
