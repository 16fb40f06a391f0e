// SPDX-License-Identifier: Apache-2.0
#pragma once
// Height parameters over one length.

#include <span>

namespace crestgate::analysis {

struct HeightParameters {
  double arithmetic_mean_um = 0.0;   // Ra: mean |z|
  double root_mean_square_um = 0.0;  // Rq: sqrt(mean z^2), divisor n
  double skewness = 0.0;             // Rsk: mean z^3 / Rq^3
  double kurtosis = 0.0;             // Rku: mean z^4 / Rq^4, 3 for a normal distribution
  bool has_shape = false;            // skewness and kurtosis exist: the profile is not all zero
  double highest_um = 0.0;           // Rpt: max z
  double lowest_um = 0.0;            // -Rvt: min z
};

// Purpose   the amplitude parameters of a profile whose mean line is z = 0: heights are not centred again.
// Pre       at least one sample, all finite.
// Source    ISO 21920-2:2021 4.2 - from memory.
HeightParameters height_parameters(std::span<const double> heights_um);

}  // namespace crestgate::analysis
