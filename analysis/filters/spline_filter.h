// SPDX-License-Identifier: Apache-2.0
#pragma once
// The spline profile filter.

#include <cstddef>
#include <span>
#include <vector>

#include "base/result.h"

namespace crestgate::analysis {

struct SplineOptions {
  double cutoff_mm = 0.8;
  double spacing_mm = 0.0005;
  std::size_t sample_count = 0;
  // Tension, 0..1. 0 is the cubic spline, which keeps straight lines up to the ends; 0.625242 comes closest
  // to the Gaussian but bends the ends of a tilted trace.
  double beta = 0.0;
};

// Purpose   the mean line w with (I + beta A^2 P + (1 - beta) A^4 Q) w = z, A = 1 / (2 sin(pi dx / Lc)),
//           P = D1'D1 and Q = D2'D2 of the first and second differences: open profile, natural ends. In the
//           interior the cut-off wavelength passes with exactly half its amplitude.
// Method    The matrix is R'R with R the triangular factor of the stacked rows (I, A sqrt(beta) D1,
//           A^2 sqrt(1-beta) D2), found by plane rotations: adding A^4 (4e9 at 0.8 mm and 0.5 um) to 1 first
//           would lose the 1 for long cut-offs. Prepared once; then a forward and a backward substitution.
//           The least-squares line (for beta > 0 the mean) is taken off before and added after.
//           Rounding: 1e-12 of the height range for a cut-off of 1600 spacings, 1e-9 for 16000.
// Source    ISO 16610-22:2015; the equation by H. Zhang, D. Ott, J. Song, W. Chu, J. Res. NIST 120 (2015),
//           beta by the same authors (2015), the rest from memory. Whether the standard's default is 0 or
//           0.625242 is not known to us.
class SplineFilter {
 public:
  // Errors    kOutOfRange: beta outside 0..1, or a cut-off of two spacings or less.
  // Pre       lengths positive, at least one sample.
  static base::Result<SplineFilter> prepare(const SplineOptions& options);

  // Shape     heights, mean_line: sample_count samples; they may be the same memory. No scratch is needed.
  // Pre       all heights finite.
  void apply(std::span<const double> heights, std::span<double> mean_line) const;

 private:
  // A row of R divided by its first entry; w(i) + next w(i+1) + after w(i+2).
  struct Row {
    double inverse_square = 1.0;  // of the first entry
    double next = 0.0;
    double after = 0.0;
  };

  SplineFilter() = default;

  bool keeps_lines_ = true;
  std::vector<Row> rows_;
};

}  // namespace crestgate::analysis
