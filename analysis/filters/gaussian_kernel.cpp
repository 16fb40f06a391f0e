// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_kernel.h"

#include <cmath>
#include <cstddef>
#include <numbers>

#include "base/expects.h"

namespace crestgate::analysis {

std::vector<double> gaussian_half_kernel(const KernelOptions& options) {
  CRESTGATE_EXPECTS(options.cutoff_mm > 0.0 && options.spacing_mm > 0.0);
  const double steps = kGaussianHalfWidth * options.cutoff_mm / options.spacing_mm;
  // A cut-off that is a whole number of spacings must not lose its last weight to rounding.
  const auto reach = static_cast<std::size_t>(std::floor(steps * (1.0 + 1e-12)));
  std::vector<double> weights(reach + 1);
  for (std::size_t j = 0; j <= reach; ++j) {
    const double u = static_cast<double>(j) * options.spacing_mm / (kGaussianAlpha * options.cutoff_mm);
    weights[j] = std::exp(-std::numbers::pi * u * u);
  }
  double sum = 0.0;
  for (std::size_t j = reach; j > 0; --j) sum += 2.0 * weights[j];
  sum += weights[0];
  for (double& weight : weights) weight /= sum;
  return weights;
}

}  // namespace crestgate::analysis
