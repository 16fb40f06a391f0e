// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a trace that runs askew across a curved zone adds to its crown.

namespace crestgate::analysis {

struct AskewTrace {
  double length_mm = 0.0;     // of the trace
  double radius_mm = 0.0;     // of the zone across the intended trace, which runs along its axis
  double skew_degrees = 0.0;  // between trace and axis; the sign does not matter
};

// Purpose   the crown that the skew fakes on a zone without any: convex on a shaft, hollow in a bore.
// Units     um. Pre length and radius positive, |skew| < 90 degrees.
// Method    the trace leaves the crest line by s sin a, and the zone falls by its square / (2 R) there; over
//           the length L the sagitta is (L sin a)^2 / (8 R). Small against the exact circle while L sin a is
//           below half of R (1.6 % there).
// Check     1 degree, 20 mm, radius 20 mm: 0.7615 um.
double askew_crown_um(const AskewTrace& trace);

}  // namespace crestgate::analysis
