// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_regression.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "analysis/filters/gaussian_kernel.h"
#include "analysis/statistics/moments.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kFewestSpacings = 4.0;  // in a cut-off
constexpr double kShortestTrace = 0.5;   // in cut-offs
constexpr double kNodesPerDeviation = 20.0;
constexpr double kKernelReach = 3.73;  // in gamma Lc: exp(-pi 3.73^2) = 1e-19

// The sums come out of a transform with an error of about 1e-16 of the full window's weight. A window whose
// weight times the conditioning of its normal matrix (1 at best) is less than this is not solved.
constexpr double kStarved = 1e-9;

double gamma_of(int order) { return order == 2 ? kGaussianGammaOrder2 : kGaussianAlpha; }

base::Outcome check(const RegressionOptions& options) {
  if (options.order < 0 || options.order > 2) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "a Gaussian regression has order 0, 1 or 2, found " + std::to_string(options.order)};
  }
  if (options.cutoff_mm < kFewestSpacings * options.spacing_mm * (1.0 - 1e-9)) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "the cut-off of a Gaussian regression must be at least 4 spacings, found " +
                           std::to_string(options.cutoff_mm / options.spacing_mm)};
  }
  const double length_mm = static_cast<double>(options.sample_count) * options.spacing_mm;
  if (options.sample_count < 3 || length_mm < kShortestTrace * options.cutoff_mm) {
    return base::Error{base::ErrorCode::kTooShort,
                       "a Gaussian regression wants a trace of at least half a cut-off, " +
                           std::to_string(kShortestTrace * options.cutoff_mm) + " mm, found " +
                           std::to_string(length_mm) + " mm"};
  }
  return base::Done{};
}

// The sums of one window. t is the distance from its middle.
struct Window {
  double m[5] = {};  // of s t^j d
  double t[3] = {};  // of s t^j d z
};

// The weight of the window times how well its normal matrix is conditioned, and b0 if that suffices.
struct Solution {
  double strength = 0.0;
  double value = 0.0;
};

Solution ratio(double numerator, double determinant, double strength) {
  return strength > kStarved ? Solution{strength, numerator / determinant} : Solution{};
}

Solution solve_order0(const Window& w) { return ratio(w.t[0], w.m[0], w.m[0]); }

Solution solve_order1(const Window& w) {
  const double determinant = w.m[0] * w.m[2] - w.m[1] * w.m[1];
  return ratio(w.m[2] * w.t[0] - w.m[1] * w.t[1], determinant, w.m[2] > 0.0 ? determinant / w.m[2] : 0.0);
}

Solution solve_order2(const Window& w) {
  const double c0 = w.m[2] * w.m[4] - w.m[3] * w.m[3];
  const double c1 = w.m[2] * w.m[3] - w.m[1] * w.m[4];
  const double c2 = w.m[1] * w.m[3] - w.m[2] * w.m[2];
  const double determinant = w.m[0] * c0 + w.m[1] * c1 + w.m[2] * c2;
  const double best = w.m[2] * w.m[4];
  return ratio(w.t[0] * c0 + w.t[1] * c1 + w.t[2] * c2, determinant, best > 0.0 ? determinant / best : 0.0);
}

}  // namespace

base::Result<GaussianRegression> GaussianRegression::prepare(const RegressionOptions& options) {
  CRESTGATE_EXPECTS(options.cutoff_mm > 0.0 && options.spacing_mm > 0.0);
  if (const auto checked = check(options); !checked) return checked.error();
  // In spacings; the standard deviation of exp(-pi (x/gamma Lc)^2) is gamma Lc / sqrt(2 pi).
  const double gamma = gamma_of(options.order) * options.cutoff_mm / options.spacing_mm;
  const double deviation = gamma / std::sqrt(2.0 * std::numbers::pi);
  const auto step =
      std::max<std::size_t>(1, static_cast<std::size_t>(std::floor(deviation / kNodesPerDeviation)));
  GaussianRegression regression(options, step);
  regression.prepare_kernels(std::floor(kKernelReach * gamma / static_cast<double>(step)), gamma);
  regression.prepare_unit_weights();
  return regression;
}

GaussianRegression::GaussianRegression(const RegressionOptions& options, std::size_t step)
    : order_(options.order),
      sample_count_(options.sample_count),
      grid_({.sample_count = options.sample_count, .step = step}) {}

void GaussianRegression::prepare_kernels(double reach_in_nodes, double gamma) {
  const std::size_t nodes = grid_.node_count();
  // What lies farther away than the trace is long never meets a sample.
  const std::size_t reach = std::min(static_cast<std::size_t>(reach_in_nodes), nodes - 1);
  fft_ = std::make_unique<RealFft>(RealFft::good_size(nodes + reach));
  std::vector<Complex> pairs(fft_->pair_count());
  std::vector<Complex> spectrum(fft_->spectrum_count());
  const std::span<double> kernel = as_samples(pairs);
  const std::size_t size = fft_->size();
  for (int power = 0; power <= 2 * order_; ++power) {
    std::ranges::fill(kernel, 0.0);
    const bool odd = power % 2 != 0;
    for (std::size_t j = 0; j <= reach; ++j) {
      const double t = static_cast<double>(j * grid_.step()) / gamma;
      const double value = std::exp(-std::numbers::pi * t * t) / gamma * std::pow(t, power);
      // A sample at distance +j reaches the window through the kernel's place -j.
      kernel[j] += odd ? -value : value;
      if (j > 0) kernel[size - j] += value;
    }
    fft_->forward(pairs, spectrum);
    std::vector<double>& kept = kernels_.emplace_back(spectrum.size());
    std::ranges::transform(spectrum, kept.begin(),
                           [odd](Complex value) { return odd ? value.imag() : value.real(); });
  }
}

void GaussianRegression::prepare_unit_weights() {
  FilterWorkspace workspace;
  const std::size_t nodes = grid_.node_count();
  workspace.regression.nodes.resize(nodes);
  grid_.gather(std::vector<double>(sample_count_, 1.0), workspace.regression.nodes);
  transform_nodes(workspace);
  unit_sums_.resize(kernels_.size() * nodes);
  for (int power = 0; power <= 2 * order_; ++power) {
    convolve(power, std::span(unit_sums_).subspan(static_cast<std::size_t>(power) * nodes, nodes), workspace);
  }
}

// The nodes' spectrum, into workspace.spectrum.
void GaussianRegression::transform_nodes(FilterWorkspace& workspace) const {
  workspace.pairs.resize(fft_->pair_count());
  workspace.spectrum.resize(fft_->spectrum_count());
  const std::span<double> samples = as_samples(workspace.pairs);
  const std::vector<double>& nodes = workspace.regression.nodes;
  std::ranges::copy(nodes, samples.begin());
  std::ranges::fill(samples.subspan(nodes.size()), 0.0);
  fft_->forward(workspace.pairs, workspace.spectrum);
}

void GaussianRegression::convolve(int power, std::span<double> at_nodes, FilterWorkspace& workspace) const {
  const std::vector<double>& kernel = kernels_[static_cast<std::size_t>(power)];
  const std::vector<Complex>& spectrum = workspace.spectrum;
  workspace.product.resize(spectrum.size());
  if (power % 2 == 0) {
    for (std::size_t k = 0; k < spectrum.size(); ++k) workspace.product[k] = spectrum[k] * kernel[k];
  } else {
    for (std::size_t k = 0; k < spectrum.size(); ++k) {
      workspace.product[k] = {-spectrum[k].imag() * kernel[k], spectrum[k].real() * kernel[k]};
    }
  }
  fft_->inverse(workspace.product, workspace.pairs);
  std::ranges::copy(as_samples(workspace.pairs).first(at_nodes.size()), at_nodes.begin());
}

void GaussianRegression::sum_heights(std::span<const double> weighted, FilterWorkspace& workspace) const {
  const std::size_t nodes = grid_.node_count();
  RegressionWorkspace& scratch = workspace.regression;
  scratch.nodes.resize(nodes);
  scratch.height_sums.resize((static_cast<std::size_t>(order_) + 1) * nodes);
  grid_.gather(weighted, scratch.nodes);
  transform_nodes(workspace);
  for (int power = 0; power <= order_; ++power) {
    const std::size_t first = static_cast<std::size_t>(power) * nodes;
    convolve(power, std::span(scratch.height_sums).subspan(first, nodes), workspace);
  }
}

bool GaussianRegression::solve(std::span<const double> weight_sums, RegressionWorkspace& scratch) const {
  const std::size_t nodes = grid_.node_count();
  scratch.node_lines.resize(nodes);
  const std::size_t weight_rows = weight_sums.size() / nodes;
  const std::size_t height_rows = scratch.height_sums.size() / nodes;
  bool fed = true;
  for (std::size_t node = 0; node < nodes; ++node) {
    Window window;
    for (std::size_t row = 0; row < weight_rows; ++row) window.m[row] = weight_sums[row * nodes + node];
    for (std::size_t row = 0; row < height_rows; ++row) {
      window.t[row] = scratch.height_sums[row * nodes + node];
    }
    const Solution found = order_ == 0   ? solve_order0(window)
                           : order_ == 1 ? solve_order1(window)
                                         : solve_order2(window);
    if (found.strength > kStarved) {
      scratch.node_lines[node] = found.value;
    } else {
      fed = false;
    }
  }
  return fed;
}

void GaussianRegression::finish(std::span<double> mean_line, RegressionWorkspace& scratch) const {
  grid_.interpolate(scratch.node_lines, mean_line);
  for (double& value : mean_line) value += scratch.offset;
}

void GaussianRegression::apply(std::span<const double> heights, std::span<double> mean_line,
                               FilterWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights.size() == sample_count_ && mean_line.size() == sample_count_);
  RegressionWorkspace& scratch = workspace.regression;
  scratch.offset = mean_of(heights);
  // Room for reweigh too: whether it follows depends on the heights.
  scratch.weighted.resize(sample_count_);
  scratch.weight_sums.resize(unit_sums_.size());
  std::ranges::transform(heights, scratch.weighted.begin(),
                         [&scratch](double height) { return height - scratch.offset; });
  sum_heights(scratch.weighted, workspace);
  // The checks of prepare leave no window of unit weights starved.
  const bool fed = solve(unit_sums_, scratch);
  CRESTGATE_EXPECTS(fed);
  finish(mean_line, scratch);
}

bool GaussianRegression::reweigh(std::span<const double> heights, std::span<const double> weights,
                                 std::span<double> mean_line, FilterWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights.size() == sample_count_ && mean_line.size() == sample_count_ &&
                    weights.size() == sample_count_);
  RegressionWorkspace& scratch = workspace.regression;
  const std::size_t nodes = grid_.node_count();
  CRESTGATE_EXPECTS(scratch.node_lines.size() == nodes && scratch.weight_sums.size() == unit_sums_.size());
  for (std::size_t i = 0; i < sample_count_; ++i) {
    scratch.weighted[i] = weights[i] * (heights[i] - scratch.offset);
  }
  sum_heights(scratch.weighted, workspace);
  grid_.gather(weights, scratch.nodes);
  transform_nodes(workspace);
  for (int power = 0; power <= 2 * order_; ++power) {
    const std::size_t first = static_cast<std::size_t>(power) * nodes;
    convolve(power, std::span(scratch.weight_sums).subspan(first, nodes), workspace);
  }
  const bool fed = solve(scratch.weight_sums, scratch);
  finish(mean_line, scratch);
  return fed;
}

}  // namespace crestgate::analysis
