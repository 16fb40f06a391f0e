// SPDX-License-Identifier: Apache-2.0
#pragma once
// A trace brought to a coarser spacing.

#include <cstddef>
#include <span>
#include <vector>

#include "base/result.h"

namespace crestgate::analysis {

struct ResamplingOptions {
  double measured_spacing_mm = 0.0;
  double spacing_mm = 0.0;  // wanted
  std::size_t sample_count = 0;
};

constexpr std::size_t kResamplingReach = 22;  // new spacings on each side

// Purpose   heights at another, not finer spacing, at positions k * spacing_mm from the first sample.
// Method    one convolution with a Kaiser-windowed sinc low-passes and interpolates at any ratio of
//           spacings. Wavelengths of at least 2.86 new spacings keep their amplitude, those below 2
//           (which would come back as long waves) are taken out, both to 1e-4. The weights used are
//           divided by their sum: a constant stays. Beyond the ends the trace goes on point-symmetrically
//           about its end samples, so that a tilted line stays a line.
// Accuracy  the outermost kResamplingReach new spacings depend on that assumption: they belong to the
//           run-up. With a new spacing of lambda_s / 5 wavelengths from 0.57 lambda_s on are untouched.
// Source    J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", Proc.
//           IEEE Int. Symp. Circuits and Systems (1974), 20-23 - from memory.
// Time      2 * kResamplingReach multiplications per measured sample. Allocates only in prepare.
class Resampling {
 public:
  // Errors    kInvalidConfig: a spacing that is no positive number. kOutOfRange: finer than measured,
  //           which would invent detail. kTooShort: not longer than the reach.
  static base::Result<Resampling> prepare(const ResamplingOptions& options);

  // Shape     heights_um: sample_count samples; resampled_um: output_count(); must not overlap.
  // Pre       finite heights.
  void apply(std::span<const double> heights_um, std::span<double> resampled_um) const;

  [[nodiscard]] std::size_t output_count() const { return output_count_; }

 private:
  Resampling() = default;

  double ratio_ = 1.0;  // new spacing / measured spacing
  std::size_t sample_count_ = 0;
  std::size_t output_count_ = 0;
  std::vector<double> kernel_;  // over the distance, kKernelSteps to a new spacing
};

}  // namespace crestgate::analysis
