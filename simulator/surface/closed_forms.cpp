// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/closed_forms.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace crestgate::simulator {

double wave_height(WaveShape shape, double phase_turns) {
  const double turn = phase_turns - std::floor(phase_turns);
  switch (shape) {
    case WaveShape::kSine:
      return std::sin(2.0 * std::numbers::pi * turn);
    case WaveShape::kTriangle:
      if (turn < 0.25) return 4.0 * turn;
      return turn < 0.75 ? 2.0 - 4.0 * turn : 4.0 * turn - 4.0;
    case WaveShape::kSquare:
      return turn < 0.5 ? 1.0 : -1.0;
    case WaveShape::kSawtooth:
      return 2.0 * turn - 1.0;
  }
  return 0.0;
}

// -x^2 / (r + sqrt(r^2 - x^2)) instead of sqrt(r^2 - x^2) - r: no digits are lost near the vertex.
double arc_height_um(double x_mm, double radius_mm) {
  const double r = std::abs(radius_mm);
  const double x = std::min(std::abs(x_mm), r);
  const double sag_mm = x * x / (r + std::sqrt(r * r - x * x));
  return (radius_mm > 0.0 ? -1000.0 : 1000.0) * sag_mm;
}

double groove_height_um(double x_mm, const GrooveShape& shape) {
  const double slope = std::tan(shape.flank_deg * std::numbers::pi / 180.0);
  return std::min(0.0, 1000.0 * std::abs(x_mm) * slope - shape.depth_um);
}

}  // namespace crestgate::simulator
