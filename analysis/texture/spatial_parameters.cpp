// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/spatial_parameters.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kDecay = 0.2;
constexpr double kTie = 1e-9;
// What rounding leaves in the bins of a level profile, relative to its zero frequency; powers are squares.
constexpr double kNothing = 1e-26;

double power(Complex x) { return x.real() * x.real() + x.imag() * x.imag(); }

// Twice the length where that is possible: the bins of the length itself are then every other one.
std::size_t padded_size(std::size_t sample_count) {
  return RealFft::is_possible(2 * sample_count) ? 2 * sample_count : RealFft::good_size(2 * sample_count);
}

}  // namespace

SpatialAnalysis::SpatialAnalysis(std::size_t sample_count, double spacing_mm)
    : sample_count_(sample_count), spacing_mm_(spacing_mm), fft_(padded_size(sample_count)) {
  CRESTGATE_EXPECTS(sample_count >= 2 && spacing_mm > 0.0);
  if (fft_.size() != 2 * sample_count) chirp_.emplace(sample_count);
}

void SpatialAnalysis::find_dominant_wavelength(std::span<const double> heights_um,
                                               SpatialWorkspace& workspace, SpatialParameters& found) const {
  workspace.powers.resize(sample_count_ / 2 + 1);
  const std::span<double> powers(workspace.powers);
  if (chirp_) {
    chirp_->powers(heights_um, powers, workspace.chirp);
  } else {
    for (std::size_t k = 0; k < powers.size(); ++k) powers[k] = power(workspace.spectrum[2 * k]);
  }
  const double largest = *std::max_element(powers.begin() + 1, powers.end());
  if (!(largest > kNothing * powers[0])) return;
  std::size_t k = 1;
  while (powers[k] < (1.0 - kTie) * largest) ++k;
  found.has_dominant_wavelength = true;
  found.dominant_wavelength_mm = static_cast<double>(sample_count_) * spacing_mm_ / static_cast<double>(k);
}

void SpatialAnalysis::find_autocorrelation_length(SpatialWorkspace& workspace,
                                                  SpatialParameters& found) const {
  for (Complex& bin : workspace.spectrum) bin = {power(bin), 0.0};
  fft_.inverse(workspace.spectrum, workspace.pairs);
  const std::span<const double> sums = as_samples(workspace.pairs);
  const double n = static_cast<double>(sample_count_);
  const double mean_square = sums[0] / n;
  if (!(mean_square > 0.0)) return;
  double last = 1.0;
  for (std::size_t lag = 1; lag < sample_count_; ++lag) {
    const double here = sums[lag] / (n - static_cast<double>(lag)) / mean_square;
    if (here <= kDecay) {
      const double share = (last - kDecay) / (last - here);
      found.has_autocorrelation_length = true;
      found.autocorrelation_length_mm = (static_cast<double>(lag - 1) + share) * spacing_mm_;
      return;
    }
    last = here;
  }
}

SpatialParameters SpatialAnalysis::run(std::span<const double> heights_um,
                                       SpatialWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights_um.size() == sample_count_);
  workspace.pairs.resize(fft_.pair_count());
  workspace.spectrum.resize(fft_.spectrum_count());
  const std::span<double> padded = as_samples(workspace.pairs);
  std::ranges::copy(heights_um, padded.begin());
  std::fill(padded.begin() + static_cast<std::ptrdiff_t>(sample_count_), padded.end(), 0.0);
  fft_.forward(workspace.pairs, workspace.spectrum);
  SpatialParameters found;
  find_dominant_wavelength(heights_um, workspace, found);
  find_autocorrelation_length(workspace, found);
  return found;
}

}  // namespace crestgate::analysis
