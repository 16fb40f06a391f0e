// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which face is looked at, and how closely.

#include <optional>

namespace crestgate::analysis {

// How far the trace may run askew on a curved zone (askew.h).
struct SkewLimit {
  double radius_mm = 0.0;
  double most_degrees = 0.0;
  friend bool operator==(const SkewLimit&, const SkewLimit&) = default;
};

// Places count from the trace's first sample.
struct FaceFormSettings {
  double start_mm = 0.0;                         // the face begins here
  std::optional<double> end_mm = std::nullopt;   // and ends here; absent: with the trace
  double edge_mm = 0.5;                          // length of the edge at either end; 0: no edges
  double spot_smoothing_mm = 0.25;               // Gaussian nesting index before the highest spot is sought
  std::optional<SkewLimit> skew = std::nullopt;  // absent: the zone is not curved across the trace
  friend bool operator==(const FaceFormSettings&, const FaceFormSettings&) = default;
};

}  // namespace crestgate::analysis
