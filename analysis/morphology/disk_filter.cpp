// SPDX-License-Identifier: Apache-2.0
#include "analysis/morphology/disk_filter.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kMicrometresPerMillimetre = 1000.0;

void negate(std::span<const double> values, std::span<double> result) {
  std::ranges::transform(values, result.begin(), [](double value) { return -value; });
}

}  // namespace

base::Result<RollingDisk> RollingDisk::prepare(const RollingDiskOptions& options) {
  CRESTGATE_EXPECTS(options.spacing_mm > 0.0 && options.sample_count > 0);
  if (!(options.radius_mm > 0.0) || !std::isfinite(options.radius_mm)) {
    return base::Error{
        base::ErrorCode::kOutOfRange,
        "the radius of a disk must be a positive number of mm, found " + std::to_string(options.radius_mm)};
  }
  RollingDisk disk;
  disk.sample_count_ = options.sample_count;
  disk.radius_um_ = kMicrometresPerMillimetre * options.radius_mm;
  disk.spacing_um_ = kMicrometresPerMillimetre * options.spacing_mm;
  // A radius that is a whole number of spacings must not lose its rim to rounding.
  const double steps = std::floor(options.radius_mm / options.spacing_mm * (1.0 + 1e-12));
  const double last = std::min(steps, static_cast<double>(options.sample_count - 1));
  disk.drop_um_.resize(static_cast<std::size_t>(last) + 1);
  for (std::size_t j = 0; j < disk.drop_um_.size(); ++j) {
    const double r = disk.radius_um_;
    const double u = std::min(static_cast<double>(j) * disk.spacing_um_, r);
    disk.drop_um_[j] = u * u / (r + std::sqrt((r - u) * (r + u)));
  }
  return disk;
}

// Where, in samples from the start, the arc about `after` rises above the one about `before`: the upper
// crossing of the two circles if it lies on both upper halves, else the end of one of the halves.
double RollingDisk::estimated_crossing(std::span<const double> heights, std::size_t before,
                                       std::size_t after) const {
  const double x1 = static_cast<double>(before) * spacing_um_;
  const double x2 = static_cast<double>(after) * spacing_um_;
  const double half_way = 0.5 * (x2 - x1);
  const double half_rise = 0.5 * (heights[after] - heights[before]);
  const double square = half_way * half_way + half_rise * half_rise;
  const double ratio = radius_um_ * radius_um_ / square - 1.0;
  const double root = ratio > 0.0 ? std::sqrt(ratio) : 0.0;
  const bool on_both = ratio > 0.0 && root * half_way >= std::abs(half_rise);
  double x = half_rise > 0.0 ? x2 - radius_um_ : x1 + radius_um_;
  if (on_both) x = 0.5 * (x1 + x2) - half_rise * root;
  return x / spacing_um_;
}

// The first sample at which the arc about `after` is at least as high as the one about `before`.
std::size_t RollingDisk::takes_over(std::span<const double> heights, std::size_t before,
                                    std::size_t after) const {
  const std::size_t reach = drop_um_.size() - 1;
  const std::size_t first = after > reach ? after - reach : 0;
  const std::size_t end = std::max(first, std::min(heights.size(), before + reach + 1));
  const auto is_higher = [&](std::size_t k) {
    const double old_arc = heights[before] - drop_um_[k > before ? k - before : before - k];
    const double new_arc = heights[after] - drop_um_[k > after ? k - after : after - k];
    return new_arc >= old_arc;
  };
  const double estimate = std::ceil(estimated_crossing(heights, before, after));
  auto k =
      static_cast<std::size_t>(std::clamp(estimate, static_cast<double>(first), static_cast<double>(end)));
  // Rounding may have missed by a sample or two.
  while (k > first && is_higher(k - 1)) --k;
  while (k < end && !is_higher(k)) ++k;
  return k;
}

// result(k) = max over l of heights(l) - drop(|l - k|)
void RollingDisk::roll_over(std::span<const double> heights, std::span<double> result,
                            RollingDiskWorkspace& workspace) const {
  const std::size_t n = sample_count_;
  std::vector<RollingDiskWorkspace::Arc>& arcs = workspace.arcs;
  arcs.clear();
  arcs.reserve(n);
  for (std::size_t sample = 0; sample < n; ++sample) {
    std::size_t from = 0;
    while (!arcs.empty()) {
      from = takes_over(heights, arcs.back().sample, sample);
      if (from > arcs.back().from) break;
      arcs.pop_back();
      from = 0;
    }
    if (from < n) arcs.push_back({.sample = sample, .from = from});
  }
  for (std::size_t arc = 0; arc < arcs.size(); ++arc) {
    const std::size_t sample = arcs[arc].sample;
    const std::size_t end = arc + 1 < arcs.size() ? arcs[arc + 1].from : n;
    for (std::size_t k = arcs[arc].from; k < end; ++k) {
      result[k] = heights[sample] - drop_um_[k > sample ? k - sample : sample - k];
    }
  }
}

void RollingDisk::trace(std::span<const double> heights_um, std::span<double> result_um,
                        RollingDiskWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights_um.size() == sample_count_ && result_um.size() == sample_count_);
  roll_over(heights_um, result_um, workspace);
}

void RollingDisk::dilate(std::span<const double> heights_um, std::span<double> result_um,
                         RollingDiskWorkspace& workspace) const {
  trace(heights_um, result_um, workspace);
  for (double& value : result_um) value += radius_um_;
}

void RollingDisk::erode(std::span<const double> heights_um, std::span<double> result_um,
                        RollingDiskWorkspace& workspace) const {
  workspace.heights.resize(heights_um.size());
  negate(heights_um, workspace.heights);
  dilate(workspace.heights, result_um, workspace);
  negate(result_um, result_um);
}

void RollingDisk::close(std::span<const double> heights_um, std::span<double> result_um,
                        RollingDiskWorkspace& workspace) const {
  trace(heights_um, result_um, workspace);
  workspace.heights.resize(heights_um.size());
  negate(result_um, workspace.heights);
  roll_over(workspace.heights, result_um, workspace);
  // The disk never enters the profile; taking the drop off and putting it back may have rounded below it.
  std::ranges::transform(result_um, heights_um, result_um.begin(),
                         [](double value, double height) { return std::max(-value, height); });
}

void RollingDisk::open(std::span<const double> heights_um, std::span<double> result_um,
                       RollingDiskWorkspace& workspace) const {
  workspace.upside_down.resize(heights_um.size());
  negate(heights_um, workspace.upside_down);
  close(workspace.upside_down, result_um, workspace);
  negate(result_um, result_um);
}

}  // namespace crestgate::analysis
