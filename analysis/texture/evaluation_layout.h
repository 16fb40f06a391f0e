// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which samples of a trace are evaluated.

#include <cstddef>

#include "analysis/texture/texture_settings.h"
#include "base/result.h"

namespace crestgate::analysis {

// Section k holds the samples first_sample + k * section_samples .. + section_samples - 1 (half-open), so
// that sections tile the evaluation length; positions count from the trace's first sample.
struct EvaluationLayout {
  double evaluation_start_mm = 0.0;
  double evaluation_length_mm = 0.0;
  double section_length_mm = 0.0;  // as sampled
  std::size_t sections = 0;
  std::size_t section_samples = 0;
  std::size_t first_sample = 0;
  std::size_t sample_count = 0;  // evaluated samples
  // The run-up and run-down are at least one cut-off: what a filter assumes beyond the ends of the trace does
  // not reach the evaluation length. Otherwise at least half a cut-off is there, and less than 0.8 % of the
  // outermost mean line's weight is missing.
  bool full_run_up = false;
};

struct TraceShape {
  double spacing_mm = 0.0;
  std::size_t sample_count = 0;
};

// A Gaussian kernel of the S-filter with fewer samples has another transmission: the alias term is 2^-25.
inline constexpr double kSamplesPerLambdaS = 5.0;

// Whether samples lie close enough, by a thousandth: positions in a file are rounded, and a drive is no
// ruler; 0.5000001 um is the 0.5 um that a class asks for.
constexpr bool is_fine_enough(double spacing, double most) { return spacing <= most * (1.0 + 1e-3); }

// Purpose   the evaluation length in the middle of the trace.
// Pre       settings passed check_settings.
// Errors    kOutOfRange: the spacing is no positive number, or too coarse: wanted lambda_s / 5 (a sampled
//           Gaussian kernel with fewer samples has another transmission), lambda_c / 20 and a section within
//           1 % of its length. kTooShort: sections * section length + lambda_c is more than the trace.
// Source    ISO 21920-2:2021 clause 3 for the terms; the sampled layout is ours.
base::Result<EvaluationLayout> lay_out(const TextureSettings& settings, const TraceShape& trace);

}  // namespace crestgate::analysis
