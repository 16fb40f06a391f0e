// SPDX-License-Identifier: Apache-2.0
#pragma once
// Where things happen along a face that happen anywhere with equal chance.

#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

struct SiteOptions {
  double length_um = 0.0;
  double count_per_mm = 0.0;  // on average
};

// Purpose  places from 0 to length_um, in order.
// Method   a Poisson process: the gaps between neighbours are exponentially distributed, so that the number
//          of places on a length has count_per_mm times this length as its mean and as its variance.
// Pre      not negative.
std::vector<double> random_sites_um(const SiteOptions& options, RandomStream& random);

}  // namespace crestgate::simulator
