// SPDX-License-Identifier: Apache-2.0
#pragma once
// Hybrid parameters: gradients and the developed length.

#include <cstddef>

#include "analysis/texture/evaluated_profile.h"

namespace crestgate::analysis {

struct HybridParameters {
  double root_mean_square_gradient = 0.0;  // Rdq, um of height per um of length
  double arithmetic_mean_gradient = 0.0;   // Rda: mean |gradient|
  double largest_gradient = 0.0;           // Rdt: max |gradient|
  double developed_length_mm = 0.0;        // Rdl: length of the line through the evaluated samples
  double developed_ratio_percent = 0.0;    // Rdr: how much longer that is than its projection
};

// The seven-point rule reaches three samples to either side.
inline constexpr std::size_t kGradientReach = 3;

// Purpose   gradients and developed length over the evaluation length.
// Pre       at least 2 * kGradientReach + 1 samples evaluated, all finite; spacing_mm > 0.
// Method    g(i) = (z(i+3) - 9 z(i+2) + 45 z(i+1) - 45 z(i-1) + 9 z(i-2) - z(i-3)) / (60 dx) at every
//           evaluated sample that has three neighbours in the trace on either side: with three samples of
//           run-up and run-down at all of them, without any at all but the first and last three. The
//           developed length is the sum of the n - 1 chords between the evaluated samples, its ratio is taken
//           to (n - 1) dx. Neither scales with the heights. Both depend strongly on spacing and lambda_s:
//           numbers of different settings cannot be compared.
// Accuracy  the rule's gain on a sine of n samples a period is 0.9337 (4), 0.99959 (10), 0.999993 (20).
// Source    ISO 21920-2:2021 4.4; the rule is that of ISO 4287:1997 4.4 - from memory.
HybridParameters hybrid_parameters(const EvaluatedProfile& profile);

}  // namespace crestgate::analysis
