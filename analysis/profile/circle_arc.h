// SPDX-License-Identifier: Apache-2.0
#pragma once
// Least-squares circle arc through a profile, with free or fixed radius.

#include <cstddef>
#include <optional>
#include <span>

#include "base/result.h"

namespace crestgate::analysis {

// The samples the arc is fitted to; positions count from the first sample of the profile.
struct ArcGrid {
  double spacing_mm = 0.0;
  std::size_t fit_first = 0;
  std::size_t fit_count = 0;
};

// The circle (or line, curvature 0)  A (x^2 + z^2) + B x + C z + D = 0  with B^2 + C^2 - 4 A D = 1, in units
// of half the fitted length and with x = 0 in its middle: a flat arc and a line are ordinary members, and no
// centre lies at infinity.
struct CircleArc {
  double a = 0.0;            // half the curvature, positive on a convex part
  double d = 0.0;            // minus the signed distance of the origin, for small a
  double slope_angle = 0.0;  // B = -q sin, C = q cos, q = sqrt(1 + 4 A D)
  double half_length_um = 1.0;
  double radius_mm = 0.0;  // infinite on a line
  bool convex = true;
};

// Purpose   the arc with the least sum of squared distances normal to it.
// Units     heights micrometres, spacing millimetres; both are brought to one unit inside.
// Shape     heights_um: the whole profile, at least fit_first + fit_count samples.
// Pre       finite heights, fit_count >= 3; a fixed radius exceeds half the fitted length.
// Errors    kNotConverged.
// Method    Gauss-Newton on the distances, started from the least-squares parabola; ends when a step is below
//           1e-12 of the half length. With a fixed radius the parabola decides between convex and concave.
// Accuracy  of a free radius R over a chord L with n independent heights of standard deviation s:
//           dR = R^2 / L^2 * sqrt(720 / n) s, from the variance of a least-squares parabola's curvature. 22 mm,
//           4 mm, 0.5 um that change every 6 um along the trace (n = 667): 0.016 mm. A wave that is longer
//           than the chord counts as curvature.
// Source    N. Chernov, C. Lesort, "Least squares fitting of circles", J. Math. Imaging Vision 23 (2005),
//           239-252 (parametrisation without singularity) - from memory.
base::Result<CircleArc> fit_circle_arc(std::span<const double> heights_um, const ArcGrid& grid,
                                       std::optional<double> radius_mm);

// Purpose   residual = height - arc, along z, positive away from the material; also beyond the fitted
//           samples.
// Shape     heights_um and residual_um of equal size, may be the same memory.
// Errors    kNotConverged: the circle ends before the profile does.
// Why       along z and not along the normal: heights are sampled over x, and a ripple on a flank keeps its
//           height (25 mm radius, 4 mm: the normal distance would take 0.1 % off Ra).
base::Outcome subtract_circle_arc(const CircleArc& arc, const ArcGrid& grid,
                                  std::span<const double> heights_um, std::span<double> residual_um);

}  // namespace crestgate::analysis
