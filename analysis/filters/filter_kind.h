// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which filter separates roughness from waviness, and what it does at the ends of a trace.

namespace crestgate::analysis {

enum class FilterKind {
  kGaussian,      // ISO 16610-21, see filters/gaussian_low_pass.h
  kRobustOrder0,  // ISO 16610-31, Gaussian regression of order 0, robust
  kRobustOrder2,  // ISO 16610-31, Gaussian regression of order 2, robust
  kSpline,        // ISO 16610-22, cubic spline
  kTwoStep,       // ISO 13565-1, valleys cut off at the first mean line before the second
};

// What a filter assumes beyond the ends of the trace (ISO 16610-28, names from memory). Only the linear
// Gaussian filter knows all of them; the regression and spline filters have their own way at the ends.
enum class EndRule {
  kRenormalised,    // moment retention of order 0: the kernel is cut and divided by the weights that are left
  kMomentOrder1,    // moment retention of order 1: the cut kernel also keeps its first moment at 0
  kZero,            // heights 0
  kExtrapolated,    // the least-squares line through the last cut-off's length of the trace goes on
  kReflected,       // line symmetry: the profile goes on as its mirror image, z(-j) = z(j)
  kPointReflected,  // point symmetry: z(-j) = 2 z(0) - z(j)
};

}  // namespace crestgate::analysis
