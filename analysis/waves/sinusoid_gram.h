// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a face and its form leave of a sinusoid.

#include <cstddef>
#include <span>
#include <vector>

#include "analysis/filters/real_fft.h"

namespace crestgate::analysis {

// Scalar products of cos(2 pi f i) and sin(2 pi f i), i = 0 .. m - 1, once the form is taken out of them.
struct SinusoidGram {
  double cc = 0.0;
  double cs = 0.0;
  double ss = 0.0;

  [[nodiscard]] double determinant() const { return cc * ss - cs * cs; }
  // Sum of squares of a sinusoid of amplitude 1 at its least favourable phase.
  [[nodiscard]] double least_energy() const;
};

// Purpose   the products at one frequency, periods per point.
// Shape     form_columns: orthonormal columns of `points` values each (wave_set.h).
SinusoidGram gram_at(double frequency, std::span<const double> form_columns, std::size_t points);

// The transform's frequencies from `first` on, `count` of them.
struct FrequencyRange {
  std::size_t first = 0;
  std::size_t count = 0;
};

// Purpose   the products at many frequencies of a transform.
// Method    sums of cosines in closed form (geometric series), less the products with the form columns, which
//           one transform per column gives at all frequencies: n log n.
std::vector<SinusoidGram> grams_of(const RealFft& fft, const FrequencyRange& range,
                                   std::span<const double> form_columns, std::size_t points);

}  // namespace crestgate::analysis
