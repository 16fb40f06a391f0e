// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/magnitude_median.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kAbout = 0.2;
constexpr std::size_t kSampled = 251;

// The median of all magnitudes from `candidates`, which lack `below` smaller ones.
double middle_of(std::span<double> candidates, std::size_t count, std::size_t below) {
  const auto upper = candidates.begin() + static_cast<std::ptrdiff_t>(count / 2 - below);
  std::nth_element(candidates.begin(), upper, candidates.end());
  if (count % 2 == 1) return *upper;
  return 0.5 * (*std::max_element(candidates.begin(), upper) + *upper);
}

double sampled_median(std::span<const double> values, std::vector<double>& scratch) {
  const std::size_t stride = values.size() / kSampled;
  for (std::size_t i = 0; i < kSampled; ++i) scratch[i] = std::abs(values[i * stride]);
  return middle_of(std::span(scratch).first(kSampled), kSampled, 0);
}

}  // namespace

double median_of_magnitudes(std::span<const double> values, double guess, std::vector<double>& scratch) {
  const std::size_t count = values.size();
  CRESTGATE_EXPECTS(count > 0);
  scratch.resize(count);
  if (guess <= 0.0 && count > 4 * kSampled) guess = sampled_median(values, scratch);
  const double low = (1.0 - kAbout) * guess;
  const double high = (1.0 + kAbout) * guess;
  std::size_t below = 0;
  std::size_t kept = 0;
  for (const double value : values) {
    const double magnitude = std::abs(value);
    scratch[kept] = magnitude;
    const bool is_below = magnitude < low;
    below += is_below ? 1U : 0U;
    kept += !is_below && magnitude <= high ? 1U : 0U;
  }
  const std::size_t lower_rank = (count - 1) / 2;
  if (below <= lower_rank && count / 2 < below + kept) {
    return middle_of(std::span(scratch).first(kept), count, below);
  }
  std::ranges::transform(values, scratch.begin(), [](double value) { return std::abs(value); });
  return middle_of(scratch, count, 0);
}

}  // namespace crestgate::analysis
