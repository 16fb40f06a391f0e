// SPDX-License-Identifier: Apache-2.0
#pragma once
// A coarse grid of nodes along a trace, for functions that are smooth between the samples.

#include <cstddef>
#include <span>
#include <vector>

namespace crestgate::analysis {

// Purpose   carries sums from the samples to the nodes and smooth functions from the nodes to the samples.
// Method    Lagrange's polynomial through the eight nodes about a sample: interpolate reads a function off
//           it, gather is its transpose: sum over samples of z(l) f(x(l)) = sum over nodes of gather(z)(m)
//           f(x(m)) for every f that interpolate would reproduce. A Gaussian of standard deviation sigma is
//           reproduced within 0.22 (h/sigma)^8 of its height, h the distance of the nodes (remainder of
//           Lagrange's formula with the largest eighth derivative).
//           Node m lies at sample (m - lead()) step; the nodes reach beyond both ends. With step 1 the nodes
//           are the samples.
// Source    D. E. Potts, G. Steidl, M. Tasche, "Fast Fourier transforms for nonequispaced data: a tutorial",
//           2001, for the idea - from memory; Lagrange's formula.
class NodeGrid {
 public:
  struct Options {
    std::size_t sample_count = 0;
    std::size_t step = 1;  // samples from node to node
  };

  // Pre       both positive.
  explicit NodeGrid(const Options& options);

  [[nodiscard]] std::size_t node_count() const { return node_count_; }
  [[nodiscard]] std::size_t step() const { return step_; }
  [[nodiscard]] std::size_t lead() const { return step_ == 1 ? 0 : kTaps / 2 - 1; }

  // Shape     samples: sample_count; nodes: node_count().
  void gather(std::span<const double> samples, std::span<double> nodes) const;
  void interpolate(std::span<const double> nodes, std::span<double> samples) const;

 private:
  static constexpr std::size_t kTaps = 8;
  static constexpr std::size_t kLanes = 4;  // samples that are worked on side by side

  std::size_t sample_count_;
  std::size_t step_;
  std::size_t node_count_;
  std::vector<double> by_sample_;  // [r][tap], the weight of a node for the r-th sample after a node
  std::vector<double> by_tap_;     // [tap][r], rows filled up to a whole number of lanes
  std::size_t row_ = 0;            // length of a row of by_tap_
};

}  // namespace crestgate::analysis
