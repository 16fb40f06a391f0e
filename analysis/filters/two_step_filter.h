// SPDX-License-Identifier: Apache-2.0
#pragma once
// The two-step filter that keeps deep valleys from pulling the mean line down.

#include <span>
#include <utility>

#include "analysis/filters/gaussian_low_pass.h"
#include "base/result.h"

namespace crestgate::analysis {

// Purpose   the mean line of a profile whose valleys are cut off at a first mean line.
// Method    w1 = Gaussian mean line of z; z1 = max(z, w1); w = Gaussian mean line of z1. The roughness is
//           z - w with the uncut z.
// Source    ISO 13565-1:1996 - from memory. (For the Rk family ISO 21920-3 has the robust filter instead.)
class TwoStepFilter {
 public:
  // Errors    those of GaussianLowPass.
  static base::Result<TwoStepFilter> prepare(const LowPassOptions& options);

  // Shape     heights, mean_line: sample_count samples; must not overlap.
  // Pre       all heights finite.
  void apply(std::span<const double> heights, std::span<double> mean_line, FilterWorkspace& workspace) const;

 private:
  explicit TwoStepFilter(GaussianLowPass low_pass) : low_pass_(std::move(low_pass)) {}

  GaussianLowPass low_pass_;
};

}  // namespace crestgate::analysis
