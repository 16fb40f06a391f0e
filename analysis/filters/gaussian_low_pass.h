// SPDX-License-Identifier: Apache-2.0
#pragma once
// The linear Gaussian filter of a whole trace.

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "analysis/filters/filter_kind.h"
#include "analysis/filters/filter_workspace.h"
#include "analysis/filters/real_fft.h"
#include "base/result.h"

namespace crestgate::analysis {

enum class ConvolutionMethod {
  kChosenByCost,
  kDirect,
  kFourier,
};

struct LowPassOptions {
  double cutoff_mm = 0.8;
  double spacing_mm = 0.0005;
  std::size_t sample_count = 0;
  EndRule ends = EndRule::kRenormalised;
  ConvolutionMethod method = ConvolutionMethod::kChosenByCost;
};

// Purpose   the mean line w of a profile; the profile minus w is what is shorter than the cut-off.
// Method    w(k) = sum s(j) z(k-j) / sum s(j), the kernel cut at one cut-off (gaussian_kernel.h). Ends:
//           kRenormalised    only samples of the trace enter, the sum is divided by the weights used: moment
//                            retention of order 0, equal to regression of order 0.
//           kMomentOrder1    only samples of the trace enter; the cut kernel is s(x) (b0 + b1 x) with sum 1
//                            and first moment 0: equal to regression of order 1. A straight line is kept.
//           kZero            heights 0 outside.
//           kExtrapolated    the least-squares line through the first (last) cut-off's length goes on.
//           kReflected       z(-j) = z(j), mirrored at the end samples.
//           kPointReflected  z(-j) = 2 z(0) - z(j).
//           Samples at least one cut-off away from both ends do not depend on the rule.
//           Short kernels are summed directly, long ones by a Fourier transform of the padded trace with the
//           kernel's spectrum kept here; the choice follows from the sizes alone.
// Source    ISO 16610-21:2011 4.1; ISO 16610-28:2016 for the ends - names from memory.
class GaussianLowPass {
 public:
  // Errors    kTooShort: a reflected trace must be longer than the kernel's half width.
  // Pre       lengths positive, at least one sample.
  static base::Result<GaussianLowPass> prepare(const LowPassOptions& options);

  // Shape     heights and mean_line: sample_count samples; must not overlap.
  // Pre       all heights finite.
  void apply(std::span<const double> heights, std::span<double> mean_line, FilterWorkspace& workspace) const;

  // Samples on each side that enter one value.
  [[nodiscard]] std::size_t reach() const { return weights_.size() - 1; }
  [[nodiscard]] bool uses_fourier() const { return fft_ != nullptr; }

 private:
  // w = scale * sum(s z) + lever * sum(s j z) for a sample whose window the end of the trace cuts.
  struct EndWeights {
    std::vector<double> scale;  // of the first samples; mirrored at the end
    std::vector<double> lever;  // the same, changing sign at the end; empty but for kMomentOrder1
  };

  GaussianLowPass() = default;
  void prepare_ends();
  void prepare_fourier(std::size_t transform_size);
  void convolve_directly(std::span<const double> padded, std::span<double> mean_line) const;
  void convolve_by_fourier(std::span<const double> heights, std::span<double> mean_line,
                           FilterWorkspace& workspace) const;
  void rescale_ends(std::span<double> mean_line) const;
  void straighten_ends(std::span<double> mean_line, FilterWorkspace& workspace) const;
  [[nodiscard]] double first_moment_at(std::span<const double> padded, std::size_t k) const;

  std::size_t sample_count_ = 0;
  EndRule ends_ = EndRule::kRenormalised;
  std::vector<double> weights_;
  EndWeights end_;
  std::unique_ptr<RealFft> fft_;
  std::vector<double> transmission_;        // of the sampled kernel, at the transform's frequencies
  std::vector<double> lever_transmission_;  // imaginary part for the kernel s(j) j; kMomentOrder1 only
};

}  // namespace crestgate::analysis
