// SPDX-License-Identifier: Apache-2.0
#include "analysis/statistics/moments.h"

#include <algorithm>
#include <cmath>

#include "base/expects.h"

namespace crestgate::analysis {

double mean_of(std::span<const double> values) {
  CRESTGATE_EXPECTS(!values.empty());
  const double n = static_cast<double>(values.size());
  double sum = 0.0;
  for (const double value : values) sum += value;
  const double first = sum / n;
  double rest = 0.0;
  for (const double value : values) rest += value - first;
  return first + rest / n;
}

double standard_deviation_of(std::span<const double> values) {
  CRESTGATE_EXPECTS(values.size() >= 2);
  const double n = static_cast<double>(values.size());
  const double mean = mean_of(values);
  double squares = 0.0;
  double rest = 0.0;
  for (const double value : values) {
    squares += (value - mean) * (value - mean);
    rest += value - mean;
  }
  return std::sqrt((squares - rest * rest / n) / (n - 1.0));
}

double median_of(std::span<double> values) {
  CRESTGATE_EXPECTS(!values.empty());
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::ranges::nth_element(values, middle);
  if (values.size() % 2 == 1) return *middle;
  const double below = *std::max_element(values.begin(), middle);
  return 0.5 * (below + *middle);
}

}  // namespace crestgate::analysis
