// SPDX-License-Identifier: Apache-2.0
#pragma once
// Gaussian regression of a whole trace, with a weight for every sample.

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "analysis/filters/filter_workspace.h"
#include "analysis/filters/node_grid.h"
#include "analysis/filters/real_fft.h"
#include "base/result.h"

namespace crestgate::analysis {

// sqrt((-1 - W(-1/(2e))) / pi) with W the lower branch of Lambert's function: with it a regression of order 2
// passes the cut-off wavelength with half its amplitude. Orders 0 and 1 use kGaussianAlpha.
constexpr double kGaussianGammaOrder2 = 0.730913428094676;

struct RegressionOptions {
  int order = 0;  // 0, 1 or 2
  double cutoff_mm = 0.8;
  double spacing_mm = 0.0005;
  std::size_t sample_count = 0;
};

// Purpose   for every sample k the b0 of the polynomial b0 .. bp that minimises
//           sum over l of (z(l) - sum b(j) (x(l)-x(k))^j)^2 s(x(l)-x(k)) d(l), d the weights.
// Method    The sums of s (x(l)-x(k))^j d(l) and s (x(l)-x(k))^j d(l) z(l) over l are functions of x(k) that
//           change over the width of the kernel: they are needed only at the nodes of a grid of a twentieth
//           of the kernel's standard deviation (node_grid.h), where they are convolutions, done by Fourier
//           transform. The mean line is solved there and interpolated. All samples of the trace enter, no
//           padding; the kernel is cut at 3.73 gamma Lc (1.75 cut-offs for orders 0 and 1, 2.72 for order 2),
//           where its height is 1e-19. The grid errs by 1e-10
//           of the height range at most; across a gap that the weights leave by 1e-7 of the heights' step if
//           it is one cut-off wide, by 1e-5 at two; a wider one is starved (measured against the sums
//           written out).
//           With unit weights order 0 equals GaussianLowPass with kRenormalised, order 1 with kMomentOrder1
//           (but for the weight of 9.5e-8 beyond one cut-off, which those cut away).
//           Cost: n + (n / step) log n a pass; without allocation from the second trace on.
// Source    ISO 16610-31:2016, formulas from memory; J. Seewig, "Linear and robust Gaussian regression
//           filters", J. Phys. Conf. Ser. 13 (2005) 254 - from memory.
class GaussianRegression {
 public:
  // Errors    kOutOfRange: the order, or a cut-off below four spacings, whose window holds too few samples.
  //           kTooShort: a trace shorter than half a cut-off or of fewer than three samples.
  // Pre       lengths positive.
  static base::Result<GaussianRegression> prepare(const RegressionOptions& options);

  // Purpose   the mean line with all weights 1.
  // Shape     heights, mean_line: sample_count samples.
  // Pre       all heights finite.
  void apply(std::span<const double> heights, std::span<double> mean_line, FilterWorkspace& workspace) const;

  // Purpose   the mean line with weights. Returns false if windows were starved: where the weights cannot
  //           determine the polynomial (none left in the window, or too few and too far away for the
  //           arithmetic), the mean line keeps what the last call with this workspace gave there.
  // Pre       apply, and nothing but reweigh after it, was called with these heights and this workspace.
  //           Weights 0 to 1.
  [[nodiscard]] bool reweigh(std::span<const double> heights, std::span<const double> weights,
                             std::span<double> mean_line, FilterWorkspace& workspace) const;

  [[nodiscard]] std::size_t sample_count() const { return sample_count_; }
  [[nodiscard]] const NodeGrid& grid() const { return grid_; }

 private:
  explicit GaussianRegression(const RegressionOptions& options, std::size_t step);
  void prepare_kernels(double reach_in_nodes, double gamma);
  void prepare_unit_weights();
  void transform_nodes(FilterWorkspace& workspace) const;
  void convolve(int power, std::span<double> at_nodes, FilterWorkspace& workspace) const;
  void sum_heights(std::span<const double> weighted, FilterWorkspace& workspace) const;
  [[nodiscard]] bool solve(std::span<const double> weight_sums, RegressionWorkspace& scratch) const;
  void finish(std::span<double> mean_line, RegressionWorkspace& scratch) const;

  int order_;
  std::size_t sample_count_;
  NodeGrid grid_;
  std::unique_ptr<RealFft> fft_;
  // Spectra of s t^j, j = 0 .. 2p, t the distance in units of gamma Lc: real for even j, imaginary for odd.
  std::vector<std::vector<double>> kernels_;
  std::vector<double> unit_sums_;  // the weight sums for unit weights
};

}  // namespace crestgate::analysis
