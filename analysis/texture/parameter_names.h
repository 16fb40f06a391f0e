// SPDX-License-Identifier: Apache-2.0
#pragma once
// How parameters and the numbers inside their symbols are written.

#include <string>
#include <vector>

#include "analysis/texture/texture_settings.h"

namespace crestgate::analysis {

struct ParameterName {
  std::string symbol;  // ISO 21920-2 where it has one
  std::string unit;    // "um", "mm", "%", "um2/mm", "" for a pure number
  friend bool operator==(const ParameterName&, const ParameterName&) = default;
};

// Purpose   everything that a computation with these settings gives, in its order.
// Symbols   ISO 21920-2:2021 (from memory): Ra Rq Rsk Rku Rt Rzx Rz Rp Rv Rpt Rvt, Rk Rpk Rvk Rmrk1 Rmrk2
// Rak1 Rak2
//           Rpkx Rvkx, Wa Wq Wt, Pa Pq Pt.
//           Settings are part of a symbol: "Rmr(0.5um)" at a height above the mean line, "Rmr(5%,1.0um)" at a
//           depth below a reference ratio, "Rmc(10%)", "Rdc(2%,98%)". Percentages are written as short as
//           possible, heights with at least one decimal. Our own, only with a wave band: "WaveCount" (waves
//           over the face), "WaveSpacing" (mm, of the principal wave), "WaveHeight" (um, peak to valley of
//           all waves in the band), see waves/wave_search.h.
std::vector<ParameterName> parameter_names(const TextureSettings& settings);

// The symbol of one relative material ratio: "Rmr(5%,1.0um)".
std::string material_ratio_symbol(const MaterialRatioAt& at);

}  // namespace crestgate::analysis
