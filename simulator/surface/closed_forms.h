// SPDX-License-Identifier: Apache-2.0
#pragma once
// Heights with known answers, as functions of the position.

#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

// Unit amplitude over the phase in turns (any value). At phase 0: sine 0 rising, triangle 0 rising, square at
// the start of its upper half, sawtooth at its lower end and rising.
double wave_height(WaveShape shape, double phase_turns);

// An arc of radius |radius_mm| with its vertex at (0, 0): falls away for radius_mm > 0, rises for < 0. Beyond
// the circle's reach it stays at the height of its equator.
double arc_height_um(double x_mm, double radius_mm);

struct GrooveShape {
  double depth_um = 0.0;
  double flank_deg = 0.0;
};
// A V, deepest at x_mm = 0; 0 outside.
double groove_height_um(double x_mm, const GrooveShape& shape);

}  // namespace crestgate::simulator
