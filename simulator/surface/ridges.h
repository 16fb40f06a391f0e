// SPDX-License-Identifier: Apache-2.0
#pragma once
// Random ridges of known height distribution and correlation.

#include <cstddef>
#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

struct RidgeOptions {
  double rq_um = 0.0;
  double correlation_um = 0.0;
  double skew = 0.0;  // within +-kLargestSkew
};
constexpr double kLargestSkew = 4.0;

// Purpose  heights on a grid, mean 0, root mean square rq_um (of the process, not of the one sample).
// Method   g: white noise smoothed by a Gaussian kernel, so that its correlation is exp(-(t/T)^2), T =
//          correlation_um, and its heights are standard normal. With skew: z = (exp(s g - s^2/2) - 1) /
//          sqrt(exp(s^2) - 1), mirrored for skew < 0: a log-normal distribution, whose skewness
//          (exp(s^2) + 2) sqrt(exp(s^2) - 1) has s for every value. Its crests are not only higher but
//          sharper than its valleys, since the slope of exp grows with height: as where two grain furrows
//          meet.
// Pre      grid_um > 0, rq_um >= 0, correlation_um >= 0 (far below the grid: white noise).
std::vector<double> ridge_texture(std::size_t count, double grid_um, const RidgeOptions& options,
                                  RandomStream& random);

// The s above; 0 for skew 0. Depends on |skew| only.
double log_normal_shape(double skew);

}  // namespace crestgate::simulator
