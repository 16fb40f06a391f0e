// SPDX-License-Identifier: Apache-2.0
#pragma once
// Fourier transform of real samples, both ways, through a complex transform of half the size.

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace crestgate::analysis {

using Complex = std::complex<double>;

// Purpose   a prepared transform of one size. The same input gives the same bits: the plan follows from the
//           size alone and nothing is chosen by timing.
// Threads   const use from several threads is safe, each with its own buffers.
// Source    the packing of two real halves into one complex transform: W. H. Press et al., "Numerical
//           Recipes",
//           12.3 - from memory.
class RealFft {
 public:
  // Pre       is_possible(size).
  explicit RealFft(std::size_t size);
  ~RealFft();
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;
  RealFft(const RealFft&) = delete;
  RealFft& operator=(const RealFft&) = delete;

  // Even sizes of at least 4 whose half is 2^a 3^b 5^c.
  static bool is_possible(std::size_t size);

  // Of the possible sizes from at_least on, up to an eighth longer, the one that costs least.
  static std::size_t good_size(std::size_t at_least);

  [[nodiscard]] std::size_t size() const { return size_; }
  [[nodiscard]] std::size_t pair_count() const { return size_ / 2; }
  [[nodiscard]] std::size_t spectrum_count() const { return size_ / 2 + 1; }

  // Shape     pairs: the real samples two by two, (x0, x1), (x2, x3) ..., see as_samples; spectrum: X(0) ..
  //           X(size/2), X(k) = sum x(j) exp(-2 pi i j k / size). They must not overlap.
  void forward(std::span<const Complex> pairs, std::span<Complex> spectrum) const;

  // Purpose   the inverse of forward, divided by the size: inverse(forward(x)) = x.
  // Shape     as forward; the spectrum is used up.
  void inverse(std::span<Complex> spectrum, std::span<Complex> pairs) const;

 private:
  struct Plans;
  std::size_t size_;
  std::unique_ptr<Plans> plans_;
};

// The samples inside a buffer of pairs (the standard lays std::complex<double> out as double[2]).
inline std::span<double> as_samples(std::span<Complex> pairs) {
  return {reinterpret_cast<double*>(pairs.data()), 2 * pairs.size()};
}

}  // namespace crestgate::analysis
