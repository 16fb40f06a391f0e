// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a tip of finite radius can feel.

#include <span>
#include <vector>

namespace crestgate::simulator {

struct Tip {
  double radius_um = 0.0;             // 0: an ideal point that feels everything
  double cone_half_angle_deg = 30.0;  // flanks of the cone behind the tip; 0: a disk without flanks
};

// Purpose  the height of the tip's lowest point while it slides over the surface: never below the surface.
// Units    heights and spacing in um; x and z have the same unit, or the tip would be an ellipse.
// Method   T(x) = max over u of z(x+u) + b(u) - r: dilation by the tip's outline, b(u) = sqrt(r^2 - u^2) up
//          to the cone's tangent point and straight on from there. Exact on the grid: neighbours are tried
//          from the middle outward until no height within reach could still touch.
// Source   ISO 16610-41 and -49 family, from memory.
// Ends     beyond the ends there is no surface: within the tip's reach of an end a crest outside is not felt.
std::vector<double> tip_envelope(std::span<const double> heights_um, double spacing_um, const Tip& tip);

}  // namespace crestgate::simulator
