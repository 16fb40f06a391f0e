// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/ridges.h"

#include <cmath>

#include "base/expects.h"

namespace crestgate::simulator {

namespace {

// Below this the two distributions differ by less than any trace could tell, and s would divide by almost 0.
constexpr double kNoSkew = 1e-3;

// exp(-2 (t/T)^2): the kernel whose own correlation is exp(-(t/T)^2). Cut where it is 4e-6 of its middle.
std::vector<double> smoothing_kernel(double grid_um, double correlation_um) {
  const auto half = static_cast<std::ptrdiff_t>(std::ceil(2.5 * correlation_um / grid_um));
  std::vector<double> kernel;
  double power = 0.0;
  for (std::ptrdiff_t k = -half; k <= half; ++k) {
    const double t = correlation_um > 0.0 ? static_cast<double>(k) * grid_um / correlation_um : 0.0;
    kernel.push_back(std::exp(-2.0 * t * t));
    power += kernel.back() * kernel.back();
  }
  for (double& weight : kernel) weight /= std::sqrt(power);
  return kernel;
}

std::vector<double> standard_normal(std::size_t count, const std::vector<double>& kernel,
                                    RandomStream& random) {
  std::vector<double> noise(count + kernel.size() - 1);
  for (double& value : noise) value = random.normal();
  std::vector<double> smooth(count, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    double sum = 0.0;
    for (std::size_t k = 0; k < kernel.size(); ++k) sum += kernel[k] * noise[i + k];
    smooth[i] = sum;
  }
  return smooth;
}

}  // namespace

double log_normal_shape(double skew) {
  const double wanted = std::abs(skew);
  if (wanted < kNoSkew) return 0.0;
  // The skewness grows with s, from 0 to 6.2 at s = 1: halve the interval until nothing is left between.
  double low = 0.0;
  double high = 1.0;
  for (int i = 0; i < 60; ++i) {
    const double s = 0.5 * (low + high);
    const double e = std::exp(s * s);
    ((e + 2.0) * std::sqrt(e - 1.0) < wanted ? low : high) = s;
  }
  return 0.5 * (low + high);
}

std::vector<double> ridge_texture(std::size_t count, double grid_um, const RidgeOptions& options,
                                  RandomStream& random) {
  CRESTGATE_EXPECTS(grid_um > 0.0 && options.rq_um >= 0.0 && options.correlation_um >= 0.0);
  CRESTGATE_EXPECTS(std::abs(options.skew) <= kLargestSkew);
  std::vector<double> heights_um =
      standard_normal(count, smoothing_kernel(grid_um, options.correlation_um), random);
  const double s = log_normal_shape(options.skew);
  const double sign = options.skew < 0.0 ? -1.0 : 1.0;
  const double spread = s > 0.0 ? std::sqrt(std::expm1(s * s)) : 1.0;
  for (double& z : heights_um) {
    if (s > 0.0) z = sign * std::expm1(s * sign * z - 0.5 * s * s) / spread;
    z *= options.rq_um;
  }
  return heights_um;
}

}  // namespace crestgate::simulator
