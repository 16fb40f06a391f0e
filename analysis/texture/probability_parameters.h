// SPDX-License-Identifier: Apache-2.0
#pragma once
// Two processes in one profile, told apart on the probability plot of its heights.

#include <cstddef>
#include <span>
#include <vector>

namespace crestgate::analysis {

struct ProbabilityParameters {
  // The plot has two regions that differ; otherwise the numbers below do not exist.
  bool has_two_processes = false;
  double plateau_deviation_um = 0.0;  // Rpq >= 0: slope of the upper region, um per standard deviation
  double valley_deviation_um = 0.0;   // Rvq: slope of the lower region
  double transition_ratio = 0.0;      // Rmq: material ratio where the two lines cross, fraction
};

// Purpose   the probability parameters of curves of one length; what depends on the length alone is prepared
//           once.
// Method    The k-th highest of n heights stands at s(k) = Phi^-1(1 - (k - 1/2) / n). Over |s| <= 3 two
//           straight lines that meet are fitted by least squares, every height weighted with its share of the
//           s axis, so that the tails count as much as the crowded middle. Every inner height of the range is
//           tried as the place where they meet: with the straight line through all taken off first, a bend at
//           s(j) explains (h(j) . z)^2 / |h(j)|^2, h(j) the part of max(s - s(j), 0) that no straight line
//           explains; running sums make that one pass. Two processes are recognised when Rvq >= 1.25 Rpq and
//           both regions hold at least 5 % of the range.
// Source    ISO 21920-2:2021 4.5.4 and ISO 13565-3:1998 for what the numbers mean - from memory. The search
//           for the regions is ours: the standard's (conics and their bisectors) was not at hand.
// Threads   const use from several threads is safe.
class ProbabilityAnalysis {
 public:
  // Pre       sample_count > 0. With fewer than five heights in the range there are never two processes.
  explicit ProbabilityAnalysis(std::size_t sample_count);

  // Shape     falling_um: sample_count heights in falling order.
  // Time      O(n), allocates nothing.
  [[nodiscard]] ProbabilityParameters run(std::span<const double> falling_um) const;

 private:
  struct Line {
    double mean_um = 0.0;
    double slope_um = 0.0;
  };
  [[nodiscard]] Line fit_line(std::span<const double> z) const;
  [[nodiscard]] std::size_t find_bend(std::span<const double> z, const Line& line) const;
  [[nodiscard]] ProbabilityParameters judge(std::span<const double> z, const Line& line,
                                            std::size_t bend) const;

  std::size_t sample_count_;
  std::size_t first_ = 0;         // rank of the first height in the range, from 0
  std::vector<double> s_;         // of the heights in the range, falling
  std::vector<double> weight_;    // shares of the s axis
  std::vector<double> explains_;  // 1 / |h(j)|^2
  double weight_sum_ = 0.0;
  double square_sum_ = 0.0;  // of weight * s^2: s is symmetric, its weighted mean 0
};

}  // namespace crestgate::analysis
