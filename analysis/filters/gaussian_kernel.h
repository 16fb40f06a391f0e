// SPDX-License-Identifier: Apache-2.0
#pragma once
// Weights of the linear Gaussian profile filter.

#include <vector>

namespace crestgate::analysis {

// sqrt(ln 2 / pi): the cut-off wavelength passes with half its amplitude. ISO 16610-21:2011 4.1.
constexpr double kGaussianAlpha = 0.469718639349826;

// The kernel ends at this many cut-offs on each side: 9.5e-8 of the weight is cut away, and the transmission
// is then wrong by 1.8e-7 at most (half a cut-off, also found in programs, would lose 0.76 % and err by 1.2
// %).
constexpr double kGaussianHalfWidth = 1.0;

struct KernelOptions {
  double cutoff_mm = 0.8;
  double spacing_mm = 0.0005;
};

// Purpose   s(0), s(1) .. s(m), the weights of the sample itself and of its neighbours on one side.
// Method    s(j) = exp(-pi (j dx / (alpha Lc))^2) for j dx <= Lc, divided by s(0) + 2 sum s(j): a constant
//           passes unchanged.
// Pre       both lengths positive.
// Source    ISO 16610-21:2011 4.1.
std::vector<double> gaussian_half_kernel(const KernelOptions& options);

}  // namespace crestgate::analysis
