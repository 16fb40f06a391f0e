// SPDX-License-Identifier: Apache-2.0
#pragma once
// What stands proud of a plateau: hard carbides that the abrasive spared, grit that stuck in the surface.

#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

struct ParticleOptions {
  double height_um = 0.0;   // above the plateau
  double width_um = 0.0;    // where it leaves the plateau
  double flat_share = 0.0;  // of the width that is flat on top: carbides are, grit comes to a point (0)
  double count_per_mm = 0.0;
  double scatter = 0.0;  // standard deviation of height and width, relative, each for itself
};

// Height of a particle above the plateau at a distance from its middle: flat, then straight down on both
// sides.
double particle_height_um(double distance_um, const ParticleOptions& particle);

// Purpose  puts particles into heights on a grid.
// Method   At random places the height becomes the higher one of surface and plateau + particle: a particle
//          that sits in a valley fills it, for it is proud of the plateau and not of the valley's bottom.
// Pre      grid_um > 0; nothing negative; flat_share at most 1.
void leave_proud(std::vector<double>& heights_um, double plateau_um, double grid_um,
                 const ParticleOptions& options, RandomStream& random);

}  // namespace crestgate::simulator
