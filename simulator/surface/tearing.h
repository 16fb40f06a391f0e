// SPDX-License-Identifier: Apache-2.0
#pragma once
// Metal that was torn instead of cut: crests broken away, a ragged pit in their place, and beside it a burr
// of what was folded over.

#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

struct TearOptions {
  double count_per_mm = 0.0;
  double width_um = 0.0;  // of a pit
  double depth_um = 0.0;  // of its deepest place below the crest that stood there
  double burr_um = 0.0;   // how far the burr stands above that crest
  double burr_width_um = 0.0;
};

// Purpose  tears crests out of heights on a grid.
// Method   Each of a number of random places moves to the highest point within half a pit's width: metal
//          tears where it stands up. With the crest's height z0 and t from -1 to 1 across the pit the surface
//          becomes the lower one of itself and  z0 - d (1 - t^4) (1 - k/2),  k a random line through values
//          between 0 and 1 every 3 um: steep walls, a ragged bottom between half and full depth. The burr
//          stands at one edge, which of them is chance:  the higher one of surface and z0 + b (1 - u), u from
//          0 to 1 outward.
// Pre      grid_um > 0; nothing negative.
void tear(std::vector<double>& heights_um, double grid_um, const TearOptions& options, RandomStream& random);

}  // namespace crestgate::simulator
