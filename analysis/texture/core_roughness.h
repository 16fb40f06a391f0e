// SPDX-License-Identifier: Apache-2.0
#pragma once
// The Rk family: core, reduced peaks and reduced valleys of the material ratio curve.

#include "analysis/texture/material_ratio_curve.h"

namespace crestgate::analysis {

struct CoreRoughness {
  double core_um = 0.0;            // Rk
  double reduced_peak_um = 0.0;    // Rpk
  double reduced_valley_um = 0.0;  // Rvk
  double upper_ratio = 0.0;        // Rmrk1, fraction
  double lower_ratio = 1.0;        // Rmrk2, fraction
  double peak_area_um = 0.0;       // Rak1 with the ratio as a fraction; times 1000: um^2 / mm
  double valley_area_um = 0.0;     // Rak2 likewise
  double peak_beyond_um = 0.0;     // Rpkx: highest sample above the core
  double valley_beyond_um = 0.0;   // Rvkx: lowest sample below the core
};

// Purpose   the parameters of a curve of n >= 3 points.
// Method    m = round(0.4 n); among the secants z(k) - z(k+m) the smallest, of several that are equal within
//           1e-9 the first from the peaks (a sine has two equal ones, and rounding must not choose).
//           Least-squares line through its m + 1 points, read at ratio 0 and 1: top and bottom of the core.
//           Areas are sums over the samples beyond; each is turned into a right triangle of equal area on the
//           base Rmrk1 or 1 - Rmrk2.
// Source    ISO 21920-2:2021 4.5.3, ISO 13565-2:1996 4 - from memory; the discrete details are ours.
CoreRoughness core_roughness(const MaterialRatioCurve& curve);

}  // namespace crestgate::analysis
