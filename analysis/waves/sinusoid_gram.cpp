// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/sinusoid_gram.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kHalfTurn = 1e-9;  // nearer to it the geometric series loses its digits

SinusoidGram plain_gram(double frequency, std::size_t points) {
  const double m = static_cast<double>(points);
  const double angle = 2.0 * std::numbers::pi * frequency;
  const double turn = std::sin(angle);
  double cosines = m;  // of twice the angle
  double sines = 0.0;
  if (std::abs(turn) > kHalfTurn) {
    const double height = std::sin(m * angle) / turn;
    cosines = height * std::cos((m - 1.0) * angle);
    sines = height * std::sin((m - 1.0) * angle);
  }
  return {.cc = 0.5 * (m + cosines), .cs = 0.5 * sines, .ss = 0.5 * (m - cosines)};
}

void take_out(Complex product, SinusoidGram& gram) {
  gram.cc -= product.real() * product.real();
  gram.cs += product.real() * product.imag();  // the sine's product is minus the imaginary part
  gram.ss -= product.imag() * product.imag();
}

}  // namespace

double SinusoidGram::least_energy() const { return 0.5 * (cc + ss) - std::hypot(0.5 * (cc - ss), cs); }

SinusoidGram gram_at(double frequency, std::span<const double> form_columns, std::size_t points) {
  SinusoidGram gram = plain_gram(frequency, points);
  for (std::size_t start = 0; start + points <= form_columns.size(); start += points) {
    Complex product = 0.0;
    for (std::size_t i = 0; i < points; ++i) {
      const double angle = 2.0 * std::numbers::pi * frequency * static_cast<double>(i);
      product += form_columns[start + i] * Complex(std::cos(angle), -std::sin(angle));
    }
    take_out(product, gram);
  }
  return gram;
}

std::vector<SinusoidGram> grams_of(const RealFft& fft, const FrequencyRange& range,
                                   std::span<const double> form_columns, std::size_t points) {
  CRESTGATE_EXPECTS(range.first + range.count <= fft.spectrum_count() && points <= fft.size());
  std::vector<SinusoidGram> grams(range.count);
  for (std::size_t k = 0; k < range.count; ++k) {
    grams[k] = plain_gram(static_cast<double>(range.first + k) / static_cast<double>(fft.size()), points);
  }
  std::vector<Complex> pairs(fft.pair_count());
  std::vector<Complex> spectrum(fft.spectrum_count());
  for (std::size_t start = 0; start + points <= form_columns.size(); start += points) {
    const auto samples = as_samples(pairs);
    std::ranges::fill(samples, 0.0);
    std::ranges::copy(form_columns.subspan(start, points), samples.begin());
    fft.forward(pairs, spectrum);
    for (std::size_t k = 0; k < range.count; ++k) take_out(spectrum[range.first + k], grams[k]);
  }
  return grams;
}

}  // namespace crestgate::analysis
