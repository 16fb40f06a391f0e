// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/node_grid.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::analysis {

NodeGrid::NodeGrid(const Options& options)
    : sample_count_(options.sample_count), step_(options.step), node_count_(options.sample_count) {
  CRESTGATE_EXPECTS(sample_count_ > 0 && step_ > 0);
  if (step_ == 1) return;
  const std::size_t blocks = (sample_count_ + step_ - 1) / step_;
  node_count_ = blocks + kTaps - 1;
  row_ = (step_ + kLanes - 1) / kLanes * kLanes;
  by_sample_.resize(step_ * kTaps);
  by_tap_.resize(row_ * kTaps);
  for (std::size_t r = 0; r < step_; ++r) {
    const double position = static_cast<double>(r) / static_cast<double>(step_) + static_cast<double>(lead());
    for (std::size_t tap = 0; tap < kTaps; ++tap) {
      double weight = 1.0;
      for (std::size_t other = 0; other < kTaps; ++other) {
        if (other == tap) continue;
        weight *=
            (position - static_cast<double>(other)) / (static_cast<double>(tap) - static_cast<double>(other));
      }
      by_sample_[r * kTaps + tap] = weight;
      by_tap_[tap * row_ + r] = weight;
    }
  }
}

void NodeGrid::gather(std::span<const double> samples, std::span<double> nodes) const {
  CRESTGATE_EXPECTS(samples.size() == sample_count_ && nodes.size() == node_count_);
  if (step_ == 1) {
    std::ranges::copy(samples, nodes.begin());
    return;
  }
  std::ranges::fill(nodes, 0.0);
  std::size_t first_node = 0;
  for (std::size_t first = 0; first < sample_count_; first += step_, ++first_node) {
    const std::size_t count = std::min(step_, sample_count_ - first);
    double sums[kTaps] = {};
    for (std::size_t r = 0; r < count; ++r) {
      const double value = samples[first + r];
      const double* const weights = &by_sample_[r * kTaps];
      for (std::size_t tap = 0; tap < kTaps; ++tap) sums[tap] += weights[tap] * value;
    }
    for (std::size_t tap = 0; tap < kTaps; ++tap) nodes[first_node + tap] += sums[tap];
  }
}

void NodeGrid::interpolate(std::span<const double> nodes, std::span<double> samples) const {
  CRESTGATE_EXPECTS(samples.size() == sample_count_ && nodes.size() == node_count_);
  if (step_ == 1) {
    std::ranges::copy(nodes, samples.begin());
    return;
  }
  std::size_t first_node = 0;
  for (std::size_t first = 0; first < sample_count_; first += step_, ++first_node) {
    const std::size_t count = std::min(step_, sample_count_ - first);
    const double* const node = &nodes[first_node];
    for (std::size_t r = 0; r < count; r += kLanes) {
      double sums[kLanes] = {};
      const double* weights = &by_tap_[r];
      for (std::size_t tap = 0; tap < kTaps; ++tap, weights += row_) {
        for (std::size_t lane = 0; lane < kLanes; ++lane) sums[lane] += weights[lane] * node[tap];
      }
      const std::size_t lanes = std::min(kLanes, count - r);
      for (std::size_t lane = 0; lane < lanes; ++lane) samples[first + r + lane] = sums[lane];
    }
  }
}

}  // namespace crestgate::analysis
