// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_low_pass.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/filters/gaussian_kernel.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// One weight of the direct sum against one unit n log2 n of the transform pair, both about a nanosecond on
// the machine where it was measured (2.6 GHz, GCC 12 -O2): half as much for the weight, since it serves two
// samples.
constexpr double kDirectCost = 0.5;
constexpr double kFourierCost = 1.0;

constexpr std::size_t kLanes = 4;  // independent sums, so that one addition need not wait for the last

bool direct_is_cheaper(std::size_t sample_count, std::size_t reach, std::size_t transform_size) {
  const double direct = kDirectCost * static_cast<double>(sample_count) * static_cast<double>(reach);
  const double size = static_cast<double>(transform_size);
  return direct <= kFourierCost * size * std::log2(size);
}

// 1 / (weights that fall on the trace) for the samples near the start; all that are nearer than `reach`.
std::vector<double> end_scales(const std::vector<double>& weights, std::size_t sample_count) {
  const std::size_t reach = weights.size() - 1;
  std::vector<double> sums(weights.size());
  sums[0] = weights[0];
  for (std::size_t j = 1; j <= reach; ++j) sums[j] = sums[j - 1] + weights[j];
  std::vector<double> scales(std::min(reach, sample_count));
  for (std::size_t k = 0; k < scales.size(); ++k) {
    const std::size_t before = std::min(k, reach);
    const std::size_t after = std::min(sample_count - 1 - k, reach);
    scales[k] = 1.0 / (sums[before] + sums[after] - weights[0]);
  }
  return scales;
}

}  // namespace

base::Result<GaussianLowPass> GaussianLowPass::prepare(const LowPassOptions& options) {
  CRESTGATE_EXPECTS(options.sample_count > 0);
  GaussianLowPass filter;
  filter.sample_count_ = options.sample_count;
  filter.ends_ = options.ends;
  filter.weights_ = gaussian_half_kernel({.cutoff_mm = options.cutoff_mm, .spacing_mm = options.spacing_mm});
  const std::size_t reach = filter.reach();
  if (options.ends == EndRule::kReflected && options.sample_count <= reach) {
    return base::Error{base::ErrorCode::kTooShort,
                       "a trace can be reflected at its ends only if it is longer than the cut-off: " +
                           std::to_string(reach + 1) + " samples are needed, found " +
                           std::to_string(options.sample_count)};
  }
  if (options.ends == EndRule::kRenormalised) {
    filter.end_scale_ = end_scales(filter.weights_, options.sample_count);
  }
  // Reflection needs both margins in the buffer; zeros may be shared by both ends of a circular buffer.
  const std::size_t margins = options.ends == EndRule::kReflected ? 2 * reach : reach;
  const std::size_t transform_size = RealFft::good_size(options.sample_count + margins);
  const bool direct = options.method == ConvolutionMethod::kChosenByCost
                          ? direct_is_cheaper(options.sample_count, reach, transform_size)
                          : options.method == ConvolutionMethod::kDirect;
  if (direct) return filter;

  filter.fft_ = std::make_unique<RealFft>(transform_size);
  std::vector<Complex> pairs(filter.fft_->pair_count());
  std::vector<Complex> spectrum(filter.fft_->spectrum_count());
  const std::span<double> kernel = as_samples(pairs);
  for (std::size_t j = 0; j <= reach; ++j) {
    kernel[j] += filter.weights_[j];
    if (j > 0) kernel[transform_size - j] += filter.weights_[j];
  }
  filter.fft_->forward(pairs, spectrum);
  filter.transmission_.resize(spectrum.size());
  // The kernel is symmetric about sample 0, so its spectrum is real.
  std::ranges::transform(spectrum, filter.transmission_.begin(), [](Complex value) { return value.real(); });
  return filter;
}

void GaussianLowPass::fill_padded(std::span<const double> heights, std::span<double> padded) const {
  const std::size_t margin = reach();
  const std::size_t n = heights.size();
  std::ranges::copy(heights, padded.begin() + static_cast<std::ptrdiff_t>(margin));
  for (std::size_t j = 1; j <= margin; ++j) {
    const bool reflected = ends_ == EndRule::kReflected;
    padded[margin - j] = reflected ? heights[j] : 0.0;
    padded[margin + n - 1 + j] = reflected ? heights[n - 1 - j] : 0.0;
  }
}

void GaussianLowPass::convolve_directly(std::span<const double> padded, std::span<double> mean_line) const {
  const std::size_t n = mean_line.size();
  const std::size_t margin = reach();
  std::size_t k = 0;
  for (; k + kLanes <= n; k += kLanes) {
    double sum[kLanes];
    for (std::size_t lane = 0; lane < kLanes; ++lane) sum[lane] = weights_[0] * padded[k + margin + lane];
    for (std::size_t j = 1; j <= margin; ++j) {
      const double weight = weights_[j];
      for (std::size_t lane = 0; lane < kLanes; ++lane) {
        const std::size_t middle = k + margin + lane;
        sum[lane] += weight * (padded[middle - j] + padded[middle + j]);
      }
    }
    for (std::size_t lane = 0; lane < kLanes; ++lane) mean_line[k + lane] = sum[lane];
  }
  for (; k < n; ++k) {
    const std::size_t middle = k + margin;
    double sum = weights_[0] * padded[middle];
    for (std::size_t j = 1; j <= margin; ++j) sum += weights_[j] * (padded[middle - j] + padded[middle + j]);
    mean_line[k] = sum;
  }
}

void GaussianLowPass::convolve_by_fourier(std::span<const double> heights, std::span<double> mean_line,
                                          FilterWorkspace& workspace) const {
  workspace.pairs.resize(fft_->pair_count());
  workspace.spectrum.resize(fft_->spectrum_count());
  const std::span<double> samples = as_samples(workspace.pairs);
  const std::size_t margin = ends_ == EndRule::kReflected ? reach() : 0;
  if (ends_ == EndRule::kReflected) {
    fill_padded(heights, samples);
  } else {
    std::ranges::copy(heights, samples.begin());
  }
  const auto used = static_cast<std::ptrdiff_t>(heights.size() + 2 * margin);
  std::fill(samples.begin() + used, samples.end(), 0.0);
  fft_->forward(workspace.pairs, workspace.spectrum);
  for (std::size_t k = 0; k < transmission_.size(); ++k) workspace.spectrum[k] *= transmission_[k];
  fft_->inverse(workspace.spectrum, workspace.pairs);
  std::ranges::copy(samples.subspan(margin, heights.size()), mean_line.begin());
}

void GaussianLowPass::apply(std::span<const double> heights, std::span<double> mean_line,
                            FilterWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights.size() == sample_count_ && mean_line.size() == sample_count_);
  if (fft_ != nullptr) {
    convolve_by_fourier(heights, mean_line, workspace);
  } else {
    workspace.padded.resize(sample_count_ + 2 * reach());
    fill_padded(heights, workspace.padded);
    convolve_directly(workspace.padded, mean_line);
  }
  const std::size_t n = sample_count_;
  if (ends_ != EndRule::kRenormalised) return;
  if (n >= 2 * end_scale_.size()) {
    for (std::size_t k = 0; k < end_scale_.size(); ++k) {
      mean_line[k] *= end_scale_[k];
      mean_line[n - 1 - k] *= end_scale_[k];
    }
    return;
  }
  // The two ends overlap: each sample is scaled once, by the weights it lost on both sides.
  for (std::size_t k = 0; k < n; ++k) mean_line[k] *= end_scale_[std::min(k, n - 1 - k)];
}

}  // namespace crestgate::analysis
