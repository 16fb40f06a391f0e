// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/resampling.h"

#include <cmath>
#include <numbers>
#include <string>

#include "analysis/text/number_text.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kRounding = 1e-9;
constexpr double kUmPerMm = 1000.0;
// Middle of the transition, in periods per new spacing: from 0.35 (passes) to 0.5 (taken out).
constexpr double kCutOff = 0.425;
// Kaiser's 0.1102 (A - 8.7) for A = 100 dB; with it the transition of 0.15 needs (A - 8) / 2.285 / (2 pi
// 0.15) = 42.7 new spacings in all, so 22 on each side.
constexpr double kKaiserBeta = 10.06;
constexpr std::size_t kKernelSteps = 2048;  // straight between them: off by 2e-7

double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > 1e-18 * sum; ++k) {
    term *= (0.5 * x / k) * (0.5 * x / k);
    sum += term;
  }
  return sum;
}

double kernel_at(double distance) {
  const double share = distance / static_cast<double>(kResamplingReach);
  if (share >= 1.0) return 0.0;
  const double angle = 2.0 * std::numbers::pi * kCutOff * distance;
  const double sinc = angle == 0.0 ? 1.0 : std::sin(angle) / angle;
  return sinc * bessel_i0(kKaiserBeta * std::sqrt(1.0 - share * share)) / bessel_i0(kKaiserBeta);
}

// The trace, continued point-symmetrically about its ends.
double height_at(std::span<const double> heights_um, std::ptrdiff_t index) {
  const auto last = static_cast<std::ptrdiff_t>(heights_um.size()) - 1;
  if (index < 0) return 2.0 * heights_um.front() - heights_um[static_cast<std::size_t>(-index)];
  if (index > last) return 2.0 * heights_um.back() - heights_um[static_cast<std::size_t>(2 * last - index)];
  return heights_um[static_cast<std::size_t>(index)];
}

}  // namespace

base::Result<Resampling> Resampling::prepare(const ResamplingOptions& options) {
  for (const double spacing_mm : {options.measured_spacing_mm, options.spacing_mm}) {
    if (spacing_mm > 0.0 && std::isfinite(spacing_mm)) continue;
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "resampling needs positive spacings, found " + shortest(spacing_mm) + " mm"};
  }
  Resampling resampling;
  resampling.ratio_ = options.spacing_mm / options.measured_spacing_mm;
  resampling.sample_count_ = options.sample_count;
  if (resampling.ratio_ < 1.0 - kRounding) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "the trace was measured every " + shortest(options.measured_spacing_mm * kUmPerMm) +
                           " um; resampling it to every " + shortest(options.spacing_mm * kUmPerMm) +
                           " um would invent detail"};
  }
  const double reach = static_cast<double>(kResamplingReach) * resampling.ratio_;
  if (!(static_cast<double>(options.sample_count) > reach + 1.0)) {
    return base::Error{base::ErrorCode::kTooShort,
                       "resampling to every " + shortest(options.spacing_mm * kUmPerMm) +
                           " um needs more than " + fixed(reach + 1.0, 0) + " samples, found " +
                           std::to_string(options.sample_count)};
  }
  const double last = static_cast<double>(options.sample_count - 1);
  resampling.output_count_ = static_cast<std::size_t>(std::floor(last / resampling.ratio_ + kRounding)) + 1;
  resampling.kernel_.resize(kResamplingReach * kKernelSteps + 2, 0.0);
  for (std::size_t i = 0; i < resampling.kernel_.size(); ++i) {
    resampling.kernel_[i] = kernel_at(static_cast<double>(i) / static_cast<double>(kKernelSteps));
  }
  return resampling;
}

void Resampling::apply(std::span<const double> heights_um, std::span<double> resampled_um) const {
  CRESTGATE_EXPECTS(heights_um.size() == sample_count_ && resampled_um.size() == output_count_);
  const double reach = static_cast<double>(kResamplingReach) * ratio_;
  const double steps_per_sample = static_cast<double>(kKernelSteps) / ratio_;
  for (std::size_t k = 0; k < output_count_; ++k) {
    const double centre = static_cast<double>(k) * ratio_;
    const auto first = static_cast<std::ptrdiff_t>(std::ceil(centre - reach));
    const auto last = static_cast<std::ptrdiff_t>(std::floor(centre + reach));
    double sum = 0.0;
    double weights = 0.0;
    for (std::ptrdiff_t j = first; j <= last; ++j) {
      const double step = std::abs(static_cast<double>(j) - centre) * steps_per_sample;
      const auto below = static_cast<std::size_t>(step);
      const double share = step - static_cast<double>(below);
      const double weight = kernel_[below] + share * (kernel_[below + 1] - kernel_[below]);
      weights += weight;
      sum += weight * height_at(heights_um, j);
    }
    resampled_um[k] = sum / weights;
  }
}

}  // namespace crestgate::analysis
