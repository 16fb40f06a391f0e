// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/chirp_transform.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// exp(-i pi j^2 / n) with j^2 reduced first: large angles would lose their digits.
Complex chirp_at(std::size_t j, std::size_t n) {
  const double angle = std::numbers::pi * static_cast<double>((j * j) % (2 * n)) / static_cast<double>(n);
  return {std::cos(angle), -std::sin(angle)};
}

// Without the checks for infinities that operator* carries.
Complex times(Complex a, Complex b) {
  return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

}  // namespace

ChirpTransform::ChirpTransform(std::size_t sample_count)
    : sample_count_(sample_count), fft_(RealFft::good_size(sample_count + sample_count / 2)) {
  CRESTGATE_EXPECTS(sample_count >= 2);
  chirp_.resize(sample_count);
  for (std::size_t j = 0; j < sample_count; ++j) chirp_[j] = chirp_at(j, sample_count);
  // The kernel reaches from -(n - 1) to n / 2, wrapped around.
  std::vector<Complex> real_pairs(fft_.pair_count());
  std::vector<Complex> imaginary_pairs(fft_.pair_count());
  const std::span<double> real = as_samples(real_pairs);
  const std::span<double> imaginary = as_samples(imaginary_pairs);
  for (std::size_t m = 0; m < sample_count; ++m) {
    if (m < bin_count()) {
      real[m] = chirp_[m].real();
      imaginary[m] = -chirp_[m].imag();
    }
    if (m > 0) {
      real[fft_.size() - m] = chirp_[m].real();
      imaginary[fft_.size() - m] = -chirp_[m].imag();
    }
  }
  real_kernel_.resize(fft_.spectrum_count());
  imaginary_kernel_.resize(fft_.spectrum_count());
  fft_.forward(real_pairs, real_kernel_);
  fft_.forward(imaginary_pairs, imaginary_kernel_);
}

void ChirpTransform::powers(std::span<const double> samples, std::span<double> powers,
                            ChirpWorkspace& workspace) const {
  CRESTGATE_EXPECTS(samples.size() == sample_count_ && powers.size() == bin_count());
  workspace.real_pairs.assign(fft_.pair_count(), {});
  workspace.imaginary_pairs.assign(fft_.pair_count(), {});
  workspace.real_spectrum.resize(fft_.spectrum_count());
  workspace.imaginary_spectrum.resize(fft_.spectrum_count());
  const std::span<double> real = as_samples(workspace.real_pairs);
  const std::span<double> imaginary = as_samples(workspace.imaginary_pairs);
  for (std::size_t j = 0; j < sample_count_; ++j) {
    real[j] = samples[j] * chirp_[j].real();
    imaginary[j] = samples[j] * chirp_[j].imag();
  }
  fft_.forward(workspace.real_pairs, workspace.real_spectrum);
  fft_.forward(workspace.imaginary_pairs, workspace.imaginary_spectrum);
  for (std::size_t k = 0; k < fft_.spectrum_count(); ++k) {
    const Complex a = workspace.real_spectrum[k];
    const Complex b = workspace.imaginary_spectrum[k];
    workspace.real_spectrum[k] = times(a, real_kernel_[k]) - times(b, imaginary_kernel_[k]);
    workspace.imaginary_spectrum[k] = times(a, imaginary_kernel_[k]) + times(b, real_kernel_[k]);
  }
  fft_.inverse(workspace.real_spectrum, workspace.real_pairs);
  fft_.inverse(workspace.imaginary_spectrum, workspace.imaginary_pairs);
  for (std::size_t k = 0; k < bin_count(); ++k) powers[k] = real[k] * real[k] + imaginary[k] * imaginary[k];
}

}  // namespace crestgate::analysis
