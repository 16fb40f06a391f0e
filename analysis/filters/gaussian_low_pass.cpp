// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/gaussian_low_pass.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/filters/end_padding.h"
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

// Sums of weight times distance to a power over 0 .. j samples, for every j of the half kernel.
std::vector<double> running_sums(const std::vector<double>& weights, int power) {
  std::vector<double> sums(weights.size());
  double sum = 0.0;
  for (std::size_t j = 0; j < weights.size(); ++j) {
    const auto distance = static_cast<double>(j);
    sum += weights[j] * (power == 0 ? 1.0 : power == 1 ? distance : distance * distance);
    sums[j] = sum;
  }
  return sums;
}

}  // namespace

base::Result<GaussianLowPass> GaussianLowPass::prepare(const LowPassOptions& options) {
  CRESTGATE_EXPECTS(options.sample_count > 0);
  GaussianLowPass filter;
  filter.sample_count_ = options.sample_count;
  filter.ends_ = options.ends;
  filter.weights_ = gaussian_half_kernel({.cutoff_mm = options.cutoff_mm, .spacing_mm = options.spacing_mm});
  const std::size_t reach = filter.reach();
  if (is_reflection(options.ends) && options.sample_count <= reach) {
    return base::Error{base::ErrorCode::kTooShort,
                       "a trace can be reflected at its ends only if it is longer than the cut-off: " +
                           std::to_string(reach + 1) + " samples are needed, found " +
                           std::to_string(options.sample_count)};
  }
  filter.prepare_ends();
  // Made-up samples need both margins in the buffer; zeros may be shared by both ends of a circular buffer.
  const std::size_t margins = needs_margins(options.ends) ? 2 * reach : reach;
  const std::size_t transform_size = RealFft::good_size(options.sample_count + margins);
  const bool direct = options.method == ConvolutionMethod::kChosenByCost
                          ? direct_is_cheaper(options.sample_count, reach, transform_size)
                          : options.method == ConvolutionMethod::kDirect;
  if (!direct) filter.prepare_fourier(transform_size);
  return filter;
}

void GaussianLowPass::prepare_ends() {
  if (ends_ != EndRule::kRenormalised && ends_ != EndRule::kMomentOrder1) return;
  const std::size_t count = std::min(reach(), sample_count_);
  const std::vector<double> sums = running_sums(weights_, 0);
  const std::vector<double> firsts = running_sums(weights_, 1);
  const std::vector<double> seconds = running_sums(weights_, 2);
  for (std::size_t k = 0; k < count; ++k) {
    const std::size_t before = std::min(k, reach());
    const std::size_t after = std::min(sample_count_ - 1 - k, reach());
    const double m0 = sums[before] + sums[after] - weights_[0];
    if (ends_ == EndRule::kRenormalised) {
      end_.scale.push_back(1.0 / m0);
      continue;
    }
    const double m1 = firsts[after] - firsts[before];
    const double m2 = seconds[before] + seconds[after];
    const double determinant = m0 * m2 - m1 * m1;
    const bool alone = determinant <= 0.0;  // a trace of one sample has no slope
    end_.scale.push_back(alone ? 1.0 / m0 : m2 / determinant);
    end_.lever.push_back(alone ? 0.0 : -m1 / determinant);
  }
}

void GaussianLowPass::prepare_fourier(std::size_t transform_size) {
  fft_ = std::make_unique<RealFft>(transform_size);
  std::vector<Complex> pairs(fft_->pair_count());
  std::vector<Complex> spectrum(fft_->spectrum_count());
  const std::span<double> kernel = as_samples(pairs);
  for (std::size_t j = 0; j <= reach(); ++j) {
    kernel[j] += weights_[j];
    if (j > 0) kernel[transform_size - j] += weights_[j];
  }
  fft_->forward(pairs, spectrum);
  transmission_.resize(spectrum.size());
  // The kernel is symmetric about sample 0, so its spectrum is real.
  std::ranges::transform(spectrum, transmission_.begin(), [](Complex value) { return value.real(); });
  if (ends_ != EndRule::kMomentOrder1) return;
  std::ranges::fill(kernel, 0.0);
  for (std::size_t j = 1; j <= reach(); ++j) {
    // A sample at distance +j reaches sample k through the kernel's place -j.
    kernel[j] -= weights_[j] * static_cast<double>(j);
    kernel[transform_size - j] += weights_[j] * static_cast<double>(j);
  }
  fft_->forward(pairs, spectrum);
  lever_transmission_.resize(spectrum.size());
  std::ranges::transform(spectrum, lever_transmission_.begin(), [](Complex value) { return value.imag(); });
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
  const std::size_t margin = needs_margins(ends_) ? reach() : 0;
  const std::size_t used = heights.size() + 2 * margin;
  fill_padded(ends_, margin, heights, samples.first(used));
  std::ranges::fill(samples.subspan(used), 0.0);
  fft_->forward(workspace.pairs, workspace.spectrum);
  if (ends_ == EndRule::kMomentOrder1) {
    workspace.product.resize(workspace.spectrum.size());
    for (std::size_t k = 0; k < lever_transmission_.size(); ++k) {
      const Complex value = workspace.spectrum[k];
      workspace.product[k] = {-value.imag() * lever_transmission_[k], value.real() * lever_transmission_[k]};
    }
  }
  for (std::size_t k = 0; k < transmission_.size(); ++k) workspace.spectrum[k] *= transmission_[k];
  fft_->inverse(workspace.spectrum, workspace.pairs);
  std::ranges::copy(samples.subspan(margin, heights.size()), mean_line.begin());
  if (ends_ == EndRule::kMomentOrder1) fft_->inverse(workspace.product, workspace.pairs);
}

void GaussianLowPass::rescale_ends(std::span<double> mean_line) const {
  const std::size_t n = sample_count_;
  const std::vector<double>& scale = end_.scale;
  if (n >= 2 * scale.size()) {
    for (std::size_t k = 0; k < scale.size(); ++k) {
      mean_line[k] *= scale[k];
      mean_line[n - 1 - k] *= scale[k];
    }
    return;
  }
  // The two ends overlap: each sample is scaled once, by the weights it lost on both sides.
  for (std::size_t k = 0; k < n; ++k) mean_line[k] *= scale[std::min(k, n - 1 - k)];
}

double GaussianLowPass::first_moment_at(std::span<const double> padded, std::size_t k) const {
  const std::size_t middle = k + reach();
  double sum = 0.0;
  for (std::size_t j = 1; j <= reach(); ++j) {
    sum += weights_[j] * static_cast<double>(j) * (padded[middle + j] - padded[middle - j]);
  }
  return sum;
}

void GaussianLowPass::straighten_ends(std::span<double> mean_line, FilterWorkspace& workspace) const {
  const std::size_t n = sample_count_;
  const auto straighten = [&](std::size_t k, double sign) {
    const std::size_t from_end = std::min(k, n - 1 - k);
    const double moment =
        fft_ != nullptr ? as_samples(workspace.pairs)[k] : first_moment_at(workspace.padded, k);
    mean_line[k] = end_.scale[from_end] * mean_line[k] + sign * end_.lever[from_end] * moment;
  };
  const std::size_t first_half = std::min(end_.scale.size(), n - n / 2);
  for (std::size_t k = 0; k < first_half; ++k) straighten(k, 1.0);
  const std::size_t last_half = std::min(end_.scale.size(), n / 2);
  for (std::size_t k = n - last_half; k < n; ++k) straighten(k, -1.0);
}

void GaussianLowPass::apply(std::span<const double> heights, std::span<double> mean_line,
                            FilterWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights.size() == sample_count_ && mean_line.size() == sample_count_);
  if (fft_ != nullptr) {
    convolve_by_fourier(heights, mean_line, workspace);
  } else {
    workspace.padded.resize(sample_count_ + 2 * reach());
    fill_padded(ends_, reach(), heights, workspace.padded);
    convolve_directly(workspace.padded, mean_line);
  }
  if (ends_ == EndRule::kRenormalised) rescale_ends(mean_line);
  if (ends_ == EndRule::kMomentOrder1) straighten_ends(mean_line, workspace);
}

}  // namespace crestgate::analysis
