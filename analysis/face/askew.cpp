// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/askew.h"

#include <cmath>
#include <numbers>

#include "base/expects.h"

namespace crestgate::analysis {

double askew_crown_um(const AskewTrace& trace) {
  CRESTGATE_EXPECTS(trace.length_mm > 0.0 && trace.radius_mm > 0.0 && std::abs(trace.skew_degrees) < 90.0);
  const double across_mm = trace.length_mm * std::sin(trace.skew_degrees * std::numbers::pi / 180.0);
  return 1000.0 * across_mm * across_mm / (8.0 * trace.radius_mm);
}

}  // namespace crestgate::analysis
