// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/robust_regression.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/filters/magnitude_median.h"

namespace crestgate::analysis {
namespace {

// A c below this share of the largest height is rounding.
constexpr double kRounding = 1e-9;

double largest_magnitude(std::span<const double> heights, double offset) {
  double largest = 0.0;
  for (const double height : heights) largest = std::max(largest, std::abs(height - offset));
  return largest;
}

void set_biweights(std::span<const double> residuals, double c, std::span<double> weights) {
  const double scale = 1.0 / c;
  for (std::size_t i = 0; i < residuals.size(); ++i) {
    const double u = residuals[i] * scale;
    const double rest = std::max(0.0, 1.0 - u * u);
    weights[i] = rest * rest;
  }
}

}  // namespace

RobustRegression::RobustRegression(GaussianRegression regression, const RobustOptions& options)
    : regression_(std::move(regression)), tolerance_(options.tolerance), most_passes_(options.most_passes) {}

base::Result<RobustRegression> RobustRegression::prepare(const RobustOptions& options) {
  if (!(options.tolerance > 0.0) || options.most_passes < 1) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "a robust filter wants a positive tolerance and at least one pass"};
  }
  auto regression = GaussianRegression::prepare(options.regression);
  if (!regression) return regression.error();
  return RobustRegression(std::move(*regression), options);
}

MeanLineReport RobustRegression::apply(std::span<const double> heights, std::span<double> mean_line,
                                       FilterWorkspace& workspace) const {
  RegressionWorkspace& scratch = workspace.regression;
  MeanLineReport report{.passes = 1};
  regression_.apply(heights, mean_line, workspace);
  scratch.residuals.resize(heights.size());
  scratch.weights.resize(heights.size());
  const double rounding = kRounding * largest_magnitude(heights, scratch.offset);
  double median = 0.0;
  for (;; ++report.passes) {
    for (std::size_t i = 0; i < heights.size(); ++i) scratch.residuals[i] = heights[i] - mean_line[i];
    const double last_c = kBiweightFactor * median;
    median = median_of_magnitudes(scratch.residuals, median, scratch.magnitudes);
    const double c = kBiweightFactor * median;
    scratch.biweight_c = c;
    if (c <= rounding || std::abs(c - last_c) <= tolerance_ * c) return report;
    if (report.passes == most_passes_) break;
    set_biweights(scratch.residuals, c, scratch.weights);
    report.starved = !regression_.reweigh(heights, scratch.weights, mean_line, workspace);
  }
  report.converged = false;
  return report;
}

}  // namespace crestgate::analysis
