// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/two_step_filter.h"

#include <algorithm>

namespace crestgate::analysis {

base::Result<TwoStepFilter> TwoStepFilter::prepare(const LowPassOptions& options) {
  auto low_pass = GaussianLowPass::prepare(options);
  if (!low_pass) return low_pass.error();
  return TwoStepFilter(std::move(*low_pass));
}

void TwoStepFilter::apply(std::span<const double> heights, std::span<double> mean_line,
                          FilterWorkspace& workspace) const {
  low_pass_.apply(heights, mean_line, workspace);
  workspace.clipped.resize(heights.size());
  std::ranges::transform(heights, mean_line, workspace.clipped.begin(),
                         [](double height, double line) { return std::max(height, line); });
  low_pass_.apply(workspace.clipped, mean_line, workspace);
}

}  // namespace crestgate::analysis
