// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/real_fft.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <kissfft/kissfft.hh>

#include "base/expects.h"

namespace crestgate::analysis {

struct RealFft::Plans {
  explicit Plans(std::size_t half) : forward(half, false), inverse(half, true), twiddle(half / 2 + 1) {
    for (std::size_t k = 0; k < twiddle.size(); ++k) {
      const double angle = -std::numbers::pi * static_cast<double>(k) / static_cast<double>(half);
      twiddle[k] = {std::cos(angle), std::sin(angle)};
    }
  }
  kissfft<double> forward;
  kissfft<double> inverse;
  std::vector<Complex> twiddle;  // exp(-2 pi i k / size)
};

namespace {

bool is_smooth(std::size_t n) {
  for (const std::size_t prime : {2U, 3U, 5U}) {
    while (n % prime == 0) n /= prime;
  }
  return n == 1;
}

// Without the checks for infinities that operator* carries.
Complex times(Complex a, Complex b) {
  return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

}  // namespace

RealFft::RealFft(std::size_t size) : size_(size), plans_(std::make_unique<Plans>(size / 2)) {
  // Other prime factors would send the transform through a shared scratch buffer.
  CRESTGATE_EXPECTS(size >= 4 && size % 2 == 0 && is_smooth(size / 2));
}

RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::size_t RealFft::good_size(std::size_t at_least) {
  std::size_t half = std::max<std::size_t>(2, (at_least + 1) / 2);
  while (!is_smooth(half)) ++half;
  return 2 * half;
}

void RealFft::forward(std::span<const Complex> pairs, std::span<Complex> spectrum) const {
  CRESTGATE_EXPECTS(pairs.size() == pair_count() && spectrum.size() == spectrum_count());
  const std::size_t half = pair_count();
  plans_->forward.transform(pairs.data(), spectrum.data());
  const Complex first = spectrum[0];
  spectrum[0] = {first.real() + first.imag(), 0.0};
  spectrum[half] = {first.real() - first.imag(), 0.0};
  for (std::size_t k = 1; 2 * k <= half; ++k) {
    const Complex low = spectrum[k];
    const Complex high = std::conj(spectrum[half - k]);
    const Complex even = 0.5 * (low + high);
    const Complex difference = 0.5 * (low - high);
    const Complex odd = times(plans_->twiddle[k], {difference.imag(), -difference.real()});
    spectrum[k] = even + odd;
    spectrum[half - k] = std::conj(even - odd);
  }
}

void RealFft::inverse(std::span<Complex> spectrum, std::span<Complex> pairs) const {
  CRESTGATE_EXPECTS(pairs.size() == pair_count() && spectrum.size() == spectrum_count());
  const std::size_t half = pair_count();
  const double scale = 0.5 / static_cast<double>(half);
  const double first = spectrum[0].real();
  const double last = spectrum[half].real();
  spectrum[0] = {scale * (first + last), scale * (first - last)};
  for (std::size_t k = 1; 2 * k <= half; ++k) {
    const Complex low = spectrum[k];
    const Complex high = std::conj(spectrum[half - k]);
    const Complex even = scale * (low + high);
    const Complex odd = times(std::conj(plans_->twiddle[k]), scale * (low - high));
    spectrum[k] = {even.real() - odd.imag(), even.imag() + odd.real()};
    spectrum[half - k] = {even.real() + odd.imag(), odd.real() - even.imag()};
  }
  plans_->inverse.transform(spectrum.data(), pairs.data());
}

}  // namespace crestgate::analysis
