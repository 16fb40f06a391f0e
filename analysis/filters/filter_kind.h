// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which filter separates roughness from waviness, and what it does at the ends of a trace.

namespace crestgate::analysis {

enum class FilterKind {
  kGaussian,  // ISO 16610-21, see filters/gaussian_low_pass.h
};

// What a filter assumes beyond the ends of the trace, see filters/gaussian_low_pass.h.
enum class EndRule {
  kRenormalised,  // nothing: the kernel is cut and divided by the weights that are left
  kReflected,     // the profile goes on as its mirror image
};

}  // namespace crestgate::analysis
