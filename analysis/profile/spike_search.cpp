// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/spike_search.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/statistics/moments.h"
#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr double kRounding = 1e-9;
// 1 / quantile of the normal distribution at 0.75: the scale is the standard deviation of normal noise.
constexpr double kNormalScale = 1.4826022185056018;

bool is_positive(double value) { return value > 0.0 && std::isfinite(value); }

void insert(std::vector<double>& rising, double value) {
  if (!std::isnan(value)) rising.insert(std::ranges::upper_bound(rising, value), value);
}

void erase(std::vector<double>& rising, double value) {
  if (!std::isnan(value)) rising.erase(std::ranges::lower_bound(rising, value));
}

double median_of_rising(std::span<const double> rising) {
  const std::size_t upper = rising.size() / 2;
  return rising.size() % 2 == 1 ? rising[upper] : 0.5 * (rising[upper - 1] + rising[upper]);
}

// Median of |z - median|: the deviations rise from the middle to both sides, so their two rows are merged.
double median_deviation(std::span<const double> rising, double median) {
  const std::size_t count = rising.size();
  auto right = static_cast<std::size_t>(std::ranges::lower_bound(rising, median) - rising.begin());
  std::size_t left = right;  // one past the next on the left
  double last = 0.0;
  double before = 0.0;
  for (std::size_t taken = 0; taken <= count / 2; ++taken) {
    before = last;
    const bool from_right =
        right < count && (left == 0 || rising[right] - median <= median - rising[left - 1]);
    last = from_right ? rising[right++] - median : median - rising[--left];
  }
  return count % 2 == 1 ? last : 0.5 * (before + last);
}

}  // namespace

base::Result<SpikeSearch> SpikeSearch::prepare(const SpikeOptions& options, double spacing_mm) {
  if (!is_positive(options.window_um) || !is_positive(options.threshold) ||
      !is_positive(options.least_height_um)) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "spikes need a positive window, threshold and least height, found " +
                           shortest(options.window_um) + " um, " + shortest(options.threshold) + " and " +
                           shortest(options.least_height_um) + " um"};
  }
  const double half = std::floor(0.5 * options.window_um / (spacing_mm * kUmPerMm) * (1.0 + kRounding));
  const double samples = 2.0 * half + 1.0;
  if (samples < static_cast<double>(kFewestSpikeWindowSamples) ||
      samples > static_cast<double>(kMostSpikeWindowSamples)) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "the window for spikes must hold " + std::to_string(kFewestSpikeWindowSamples) +
                           " to " + std::to_string(kMostSpikeWindowSamples) + " samples, " +
                           shortest(options.window_um) + " um hold " + fixed(samples, 0)};
  }
  return SpikeSearch(options, static_cast<std::size_t>(half));
}

std::span<const double> SpikeSearch::find(std::span<const double> heights_um,
                                          SpikeWorkspace& workspace) const {
  const std::size_t count = heights_um.size();
  workspace.window.clear();
  workspace.window.reserve(2 * half_width_ + 2);
  workspace.deviation_um.assign(count, 0.0);
  workspace.spread_um.assign(count, 0.0);
  workspace.sorted.clear();
  workspace.sorted.reserve(count);
  std::vector<double>& window = workspace.window;
  for (std::size_t i = 0; i < std::min(half_width_, count); ++i) insert(window, heights_um[i]);
  for (std::size_t i = 0; i < count; ++i) {
    if (i + half_width_ < count) insert(window, heights_um[i + half_width_]);
    if (i > half_width_) erase(window, heights_um[i - half_width_ - 1]);
    if (std::isnan(heights_um[i])) continue;
    const double median = median_of_rising(window);
    workspace.deviation_um[i] = heights_um[i] - median;
    workspace.spread_um[i] = kNormalScale * median_deviation(window, median);
    workspace.sorted.push_back(workspace.spread_um[i]);
  }
  const double typical_um = workspace.sorted.empty() ? 0.0 : median_of(workspace.sorted);
  for (std::size_t i = 0; i < count; ++i) {
    const double height_um = std::abs(workspace.deviation_um[i]);
    const double scale_um = std::max(workspace.spread_um[i], typical_um);
    const bool is_spike = height_um > options_.threshold * scale_um && height_um > options_.least_height_um;
    if (!is_spike) workspace.deviation_um[i] = 0.0;
  }
  return workspace.deviation_um;
}

}  // namespace crestgate::analysis
