// SPDX-License-Identifier: Apache-2.0
#pragma once
// Spatial parameters: how far a profile resembles itself, and which wavelength dominates it.

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "analysis/filters/real_fft.h"
#include "analysis/texture/chirp_transform.h"

namespace crestgate::analysis {

struct SpatialParameters {
  bool has_autocorrelation_length = false;  // the autocorrelation falls to 0.2 within the length
  double autocorrelation_length_mm = 0.0;   // Ral
  bool has_dominant_wavelength = false;     // the profile is not level
  double dominant_wavelength_mm = 0.0;      // Rsw: evaluation length / k, k a whole number
};

struct SpatialWorkspace {
  std::vector<Complex> pairs;
  std::vector<Complex> spectrum;
  std::vector<double> powers;
  ChirpWorkspace chirp;
};

// Purpose   the spatial parameters of profiles of one length; the transforms are prepared once.
// Method    Ral: autocorrelation = mean of z(i) z(i+t) over the n - t overlapping pairs, divided by the mean
//           of z^2; the smallest lag at which it is 0.2, on straight lines between lags. Rsw: the largest
//           Fourier magnitude of the n heights at the exact wavelengths n dx / k, k = 1 .. n / 2; of several
//           that are equal within 1e-9 the longest. One transform of the heights padded to 2 n serves both
//           where 2 n is a good size for it (its even bins are those of n); elsewhere the bins come from a
//           ChirpTransform.
// Source    ISO 21920-2:2021 4.3 - from memory; the normalisation by overlapping pairs, the interpolation and
//           the rule for equal magnitudes are ours.
// Threads   const use from several threads is safe, each with its own workspace.
class SpatialAnalysis {
 public:
  // Pre       sample_count >= 2, spacing_mm > 0.
  SpatialAnalysis(std::size_t sample_count, double spacing_mm);

  // Shape     heights_um: sample_count heights, mean line at 0, all finite.
  // Time      O(n log n); allocates nothing once the workspace has seen this length.
  SpatialParameters run(std::span<const double> heights_um, SpatialWorkspace& workspace) const;

 private:
  void find_dominant_wavelength(std::span<const double> heights_um, SpatialWorkspace& workspace,
                                SpatialParameters& found) const;
  void find_autocorrelation_length(SpatialWorkspace& workspace, SpatialParameters& found) const;

  std::size_t sample_count_;
  double spacing_mm_;
  RealFft fft_;
  std::optional<ChirpTransform> chirp_;  // absent: the bins are among those of fft_
};

}  // namespace crestgate::analysis
