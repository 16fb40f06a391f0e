// SPDX-License-Identifier: Apache-2.0
#pragma once
// The robust Gaussian regression filter.

#include <cstddef>
#include <span>

#include "analysis/filters/filter_workspace.h"
#include "analysis/filters/gaussian_regression.h"
#include "analysis/filters/mean_line_report.h"
#include "base/result.h"

namespace crestgate::analysis {

// 3 / (quantile of the normal distribution at 0.75): times the median magnitude of normal residuals it is
// three times their standard deviation.
constexpr double kBiweightFactor = 4.447806655517;

struct RobustOptions {
  RegressionOptions regression;
  // When to stop, and after how many passes at the latest: our own choice, the standard's rule is not known
  // to us.
  double tolerance = 1e-4;  // relative change of c from pass to pass
  int most_passes = 100;
};

// Purpose   a mean line that grooves, pores and scratches do not pull down.
// Method    pass by pass: a Gaussian regression with weights d (1 in the first), residuals r = z - w,
//           c = kBiweightFactor * median |r| over the whole trace, d = (1 - (r/c)^2)^2 for |r| < c, else 0
//           (Tukey's biweight); until c changes by no more than the tolerance. A c of 0 (more than half of
//           the samples on the line, to 1e-9 of the largest height about the mean) stops the loop with the
//           line of that pass. Passes are counted in regressions.
// Source    ISO 16610-31:2016 - formulas from memory; biweight confirmed by the scope of ISO/TR 16610-32.
class RobustRegression {
 public:
  // Errors    those of GaussianRegression; kOutOfRange: tolerance or passes not positive.
  static base::Result<RobustRegression> prepare(const RobustOptions& options);

  // Shape     heights, mean_line: sample_count samples; must not overlap.
  // Pre       all heights finite.
  // Report    starved speaks of the last pass; see GaussianRegression::reweigh.
  MeanLineReport apply(std::span<const double> heights, std::span<double> mean_line,
                       FilterWorkspace& workspace) const;

  [[nodiscard]] const GaussianRegression& regression() const { return regression_; }

 private:
  RobustRegression(GaussianRegression regression, const RobustOptions& options);

  GaussianRegression regression_;
  double tolerance_;
  int most_passes_;
};

}  // namespace crestgate::analysis
