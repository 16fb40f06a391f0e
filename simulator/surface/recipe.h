// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a surface is made of: process steps in the order in which they happened.
//
// Positions are counted along the face from its middle (mm), heights outward from the material (um). A
// further process is one more struct in ProcessStep and one more overload in face.cpp.

#include <optional>
#include <variant>
#include <vector>

namespace crestgate::simulator {

// A parameter that may differ from part to part: drawn once per part and zone.
struct Varied {
  double mean = 0.0;
  double deviation = 0.0;  // standard deviation; draws are cut off at three of them
  friend bool operator==(const Varied&, const Varied&) = default;
};

// What grinding leaves along the face: grains cut across the trace, so that the trace crosses random ridges.
// Heights: Gaussian, or with `skew` > 0 sharp crests (< 0: deep furrows). See ridges.h.
struct Ridges {
  Varied rq_um;
  Varied correlation_um;  // lag at which the correlation has fallen to 1/e
  Varied skew;
};

// Waves of the feed and of the wheel's shape: a whole or broken number of them over the face.
struct Waves {
  Varied count;
  Varied height_um;                 // crest to trough
  std::optional<Varied> phase_deg;  // of the cosine at the middle; absent: random
};

// Wheel and work shaking against each other: short waves that swell and fade (two close frequencies beating).
struct Chatter {
  Varied wavelength_mm;
  Varied height_um;  // crest to trough where it is strongest
};

// A face that falls off towards both ends, as a parabola.
struct Crown {
  Varied drop_um;  // at the ends of the face
};

// Finishing by a tool that conforms to the form and takes only what stands above it: crests go down to a
// plateau, valleys stay as they were. See finishing.h.
struct Finish {
  Varied plateau_percent;    // share of the face that the tool touched
  Varied texture_um;         // Rq of the tool's own fine marks on the plateau
  Varied texture_length_um;  // their correlation length
  Varied follow;             // 0: the tool is straight and cuts wave crests; 1: it follows every wave
  Varied deeper_um = {};     // how much further it goes once that share is reached: over-finishing
};

// Finishing by a flexible belt: it conforms so well that it takes the crests everywhere, but its pressure
// swells and fades along the face, and it takes more stock than the texture is deep: waves are added.
struct Belt {
  Finish finish;
  Waves waves;
};

// Balls that struck the surface: craters with rims. See peening.h.
struct Craters {
  Varied depth_um;
  Varied diameter_um;
  Varied count_per_mm;
  Varied rim_percent;                  // share of the displaced volume that is piled up
  std::optional<Varied> rim_width_um;  // absent: a quarter of the diameter
  Varied scatter_percent;              // of the craters of one face, in size
};

// Hard carbides or stuck grit, proud of the plateau. See particles.h.
struct Particles {
  Varied height_um;
  Varied width_um;
  Varied count_per_mm;
  Varied flat_percent;     // of the width, on top
  Varied scatter_percent;  // of the particles of one face
};

// Crests broken away, each a ragged pit beside a burr. See tearing.h.
struct Torn {
  Varied count_per_mm;
  Varied width_um;
  Varied depth_um;
  Varied burr_um;
  std::optional<Varied> burr_width_um;  // absent: a third of the width
};

// Test surfaces with known answers.
enum class WaveShape { kSine, kTriangle, kSquare, kSawtooth };
struct Waveform {
  WaveShape shape = WaveShape::kSine;
  Varied amplitude_um;  // half of peak to valley
  Varied wavelength_mm;
  Varied phase_deg;  // at the middle of the face
};
struct StepUp {
  Varied height_um;  // of everything beyond `at_mm`
  Varied at_mm;
};
struct Ramp {
  Varied slope_um_per_mm;
};
struct Arc {
  Varied radius_mm;  // > 0 convex, < 0 concave
};
struct Groove {
  Varied depth_um;
  Varied flank_deg;  // between flank and surface
  Varied at_mm;
};
struct Flat {
  Varied height_um;
};

using ProcessStep = std::variant<Ridges, Waves, Chatter, Crown, Finish, Belt, Craters, Particles, Torn,
                                 Waveform, StepUp, Ramp, Arc, Groove, Flat>;
using SurfaceRecipe = std::vector<ProcessStep>;

}  // namespace crestgate::simulator
