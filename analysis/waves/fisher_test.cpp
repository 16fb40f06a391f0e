// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/fisher_test.h"

#include <algorithm>
#include <cmath>

#include "base/expects.h"

namespace crestgate::analysis {

double fisher_probability(double share, std::size_t ordinates) {
  CRESTGATE_EXPECTS(share > 0.0 && share <= 1.0 && ordinates >= 1);
  const double m = static_cast<double>(ordinates);
  double sum = 0.0;
  double choose = 1.0;
  for (double k = 1.0; k <= m && k * share < 1.0; k += 1.0) {
    choose *= (m - k + 1.0) / k;
    const double term = choose * std::pow(1.0 - k * share, m - 1.0);
    sum += std::fmod(k, 2.0) == 1.0 ? term : -term;
  }
  return std::clamp(sum, 0.0, 1.0);
}

double false_alarm_bound(double share, std::size_t ordinates, double places) {
  CRESTGATE_EXPECTS(share >= 0.0 && share <= 1.0 && ordinates >= 1);
  return std::min(1.0, places * std::pow(1.0 - share, static_cast<double>(ordinates) - 1.0));
}

}  // namespace crestgate::analysis
