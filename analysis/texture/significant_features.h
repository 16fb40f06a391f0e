// SPDX-License-Identifier: Apache-2.0
#pragma once
// Peaks and pits that stand out: their number, curvature and heights.

#include <cstddef>
#include <vector>

#include "analysis/texture/evaluated_profile.h"

namespace crestgate::analysis {

struct FeatureParameters {
  std::size_t peak_count = 0;
  std::size_t pit_count = 0;
  double peak_density_per_mm = 0.0;  // Rpd
  double pit_density_per_mm = 0.0;   // Rvd
  bool has_peak_curvature = false;   // there is a peak to take the mean of
  bool has_pit_curvature = false;
  double peak_curvature_per_mm = 0.0;  // Rmpc: mean of -z'' at the peaks, 1 / radius
  double pit_curvature_per_mm = 0.0;   // Rmvc: mean of z'' at the pits
  bool has_five_peaks = false;         // the peaks' ten-point numbers exist
  bool has_five_pits = false;
  double five_peak_height_um = 0.0;  // R5p: mean height of the five highest peaks, from the mean line
  double five_pit_depth_um = 0.0;    // R5v: mean depth of the five deepest pits, positive into the material
  double ten_point_height_um = 0.0;  // R10z: R5p + R5v; exists when both do
};

// A peak or pit of the evaluation length.
struct Feature {
  std::size_t sample = 0;  // counts from the first evaluated one; the middle of a level top or bottom
  bool is_peak = false;
  friend bool operator==(const Feature&, const Feature&) = default;
};

struct FeatureOptions {
  double prominence_um = 0.0;  // > 0: what a peak or pit must stand out by, on both sides
  double curvature_half_width_mm =
      0.0;  // of the window that the parabola is fitted to; shorter than a spacing: no curvatures
};

// Purpose   the significant peaks and pits, peak and pit in turn.
// Pre       prominence_um > 0, all heights finite.
// Method    Wolf pruning: of all neighbouring peak-pit pairs the one with the least height difference is
//           taken away, until no difference is below the prominence. Along a line the survivors are those
//           from which the profile falls (rises) by the prominence on both sides before it comes higher
//           (deeper), and one pass with a memory of the highest and lowest sample since the last turn finds
//           them: no list of pairs, O(n). A peak or pit whose other side lies beyond the end of the
//           evaluation length is incomplete and does not count. Of several equally high tops with less than
//           the prominence between them the first one is taken.
// Source    G. W. Wolf, "Topographic surfaces and surface networks", Extended Abstracts, ICA 2004, and ISO
//           16610-45 - from memory; the rule at the ends is ours.
// Memory    reuses the capacity of `features`; it never grows beyond the number of samples.
void find_features(std::span<const double> heights_um, double prominence_um, std::vector<Feature>& features);

// Purpose   the feature parameters of a profile; with a prominence of 0 (a profile without any height) none.
// Method    curvature from the least-squares parabola over round(half width / spacing) samples, at least one,
//           on either side, which may lie before or after the evaluation length; a feature too near to the
//           end of the trace has no curvature and is left out of the mean.
// Source    ISO 21920-2:2021 clause 5 - from memory, the symbols with low confidence.
FeatureParameters feature_parameters(const EvaluatedProfile& profile, const FeatureOptions& options,
                                     std::vector<Feature>& features);

}  // namespace crestgate::analysis
