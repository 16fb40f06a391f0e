// SPDX-License-Identifier: Apache-2.0
#pragma once
// The Fourier magnitudes of real samples at the exact bins of any length.

#include <cstddef>
#include <span>
#include <vector>

#include "analysis/filters/real_fft.h"

namespace crestgate::analysis {

struct ChirpWorkspace {
  std::vector<Complex> real_pairs;
  std::vector<Complex> imaginary_pairs;
  std::vector<Complex> real_spectrum;
  std::vector<Complex> imaginary_spectrum;
};

// Purpose   for lengths whose prime factors a fast transform does not like.
// Method    chirp-z: with j k = (j^2 + k^2 - (k - j)^2) / 2 the transform of n samples becomes a convolution
//           with exp(i pi m^2 / n), done with transforms of a good size. The factor exp(-i pi k^2 / n) after
//           it does not change a magnitude and is left out.
// Source    L. R. Rabiner, R. W. Schafer, C. M. Rader, "The chirp z-transform algorithm", IEEE Trans. Audio
//           Electroacoust. 17 (1969), 86-92.
// Threads   const use from several threads is safe, each with its own workspace.
class ChirpTransform {
 public:
  // Pre       sample_count >= 2.
  explicit ChirpTransform(std::size_t sample_count);

  [[nodiscard]] std::size_t bin_count() const { return sample_count_ / 2 + 1; }

  // Purpose   |X(k)|^2 of X(k) = sum x(j) exp(-2 pi i j k / n), k = 0 .. n / 2.
  // Shape     samples: sample_count; powers: bin_count().
  // Memory    allocates nothing once the workspace has seen this length.
  void powers(std::span<const double> samples, std::span<double> powers, ChirpWorkspace& workspace) const;

 private:
  std::size_t sample_count_;
  RealFft fft_;
  std::vector<Complex> chirp_;             // exp(-i pi j^2 / n)
  std::vector<Complex> real_kernel_;       // spectrum of cos(pi m^2 / n)
  std::vector<Complex> imaginary_kernel_;  // spectrum of sin(pi m^2 / n)
};

}  // namespace crestgate::analysis
