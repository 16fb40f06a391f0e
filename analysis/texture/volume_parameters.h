// SPDX-License-Identifier: Apache-2.0
#pragma once
// Material and void volumes of a profile, read off its material ratio curve.

#include "analysis/texture/material_ratio_curve.h"

namespace crestgate::analysis {

// Areas between profile and a height, over the evaluation length; 1 um is 1000 um^2 per mm.
struct VolumeParameters {
  double peak_material_um = 0.0;  // Rvmp: Vm(10 %)
  double core_material_um = 0.0;  // Rvmc: Vm(80 %) - Vm(10 %)
  double core_void_um = 0.0;      // Rvvc: Vv(10 %) - Vv(80 %)
  double dale_void_um = 0.0;      // Rvvv: Vv(80 %)
};

// Vm: mean of max(z - height, 0), the material above a height.
double material_above_um(const MaterialRatioCurve& curve, double height_um);
// Vv: mean of max(height - z, 0), the void below a height.
double void_below_um(const MaterialRatioCurve& curve, double height_um);

// Purpose   the volume parameters between the material ratios of 10 % and 80 %.
// Method    Vm(p) and Vv(p) at the height Rmc(p), as means over the samples.
// Source    ISO 21920-2:2021 4.5.5, after ISO 25178-2:2012 4.4 (where 10 % and 80 % are the defaults) - from
//           memory.
VolumeParameters volume_parameters(const MaterialRatioCurve& curve);

}  // namespace crestgate::analysis
