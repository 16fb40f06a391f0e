// SPDX-License-Identifier: Apache-2.0
#pragma once
// What balls leave that strike a surface: craters, and around each the rim of what they pushed aside.

#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

// One crater, round about its middle.
struct CraterShape {
  double depth_um = 0.0;
  double radius_um = 0.0;
  double rim_share = 0.0;     // of the displaced volume that is piled up around it; the rest was compressed
  double rim_width_um = 0.0;  // > 0 where rim_share > 0
};

// Height of the rim's top. Follows from the volumes: the crater's is pi R^2 d / 2, a rim's
// 2 pi h w (27/4) (R/12 + w/30).
double rim_height_um(const CraterShape& shape);

// Height at the distance `r_um` >= 0 from the middle. Inside, -d (1 - (r/R)^2). Outside, h (27/4) t (1-t)^2
// with t = (r - R) / w from 0 to 1: steep on the crater's side, 1 at t = 1/3, flat where it ends. Then 0.
double crater_height_um(double r_um, const CraterShape& shape);

struct PeeningOptions {
  CraterShape crater;         // of the middle size
  double count_per_mm = 0.0;  // craters whose pit or rim the trace crosses, per length of trace
  double scatter =
      0.0;  // standard deviation of the size, relative; the same ball deeper: depth as its square
};

// Purpose  adds craters to heights on a grid.
// Method   The trace passes each at a random distance from its middle, equally likely anywhere from rim to
//          rim: the mean area above and below the trace is then in the same proportion as the volumes. Where
//          craters overlap their displacements add up.
// Pre      grid_um > 0; nothing negative.
void peen(std::vector<double>& heights_um, double grid_um, const PeeningOptions& options,
          RandomStream& random);

}  // namespace crestgate::simulator
