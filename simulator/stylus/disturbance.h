// SPDX-License-Identifier: Apache-2.0
#pragma once
// What can falsify the readings of a stylus before they become counts. Readings in um, a place where the
// stylus found nothing is NaN and stays so.

#include <cstddef>
#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

// Samples first to end - 1.
struct Section {
  std::size_t first = 0;
  std::size_t end = 0;
};

// Purpose  the stylus sticks in its bearing: from sample `from` on the last reading before it, or the first
//          one.
// Units    noise_um is the root mean square of what the pickup still adds; 0: the readings freeze as a whole.
void stick(std::vector<double>& readings_um, std::size_t from, double noise_um, RandomStream& random);

struct Flight {
  Section over;
  double height_um = 0.0;  // in the middle, above the straight line between take-off and landing
  double noise_um = 0.0;   // of the pickup
};

// Purpose  the stylus leaves the surface and comes back to it.
// Method   what was thrown up flies a parabola: 4 h t (1 - t) above the chord, t from 0 to 1. Where the
//          surface is higher it touches: never below the surface.
void lift_off(std::vector<double>& readings_um, const Flight& flight, RandomStream& random);

struct Vibration {
  double amplitude_um = 0.0;  // half of peak to valley
  double wavelength_mm = 0.0;
  double spacing_mm = 0.0;
  double phase_turns = 0.0;
};

// Adds amplitude * sin(2 pi (x / wavelength + phase)), x = 0 at the first sample.
void vibrate(std::vector<double>& readings_um, const Vibration& vibration);

struct GainCourse {
  double first = 1.0;
  double per_sample = 0.0;
};

// Multiplies reading i by first + i * per_sample, at least 0: an amplifier that drifts about its electrical
// zero.
void change_gain(std::vector<double>& readings_um, const GainCourse& course);

}  // namespace crestgate::simulator
