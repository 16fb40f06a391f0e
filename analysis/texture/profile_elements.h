// SPDX-License-Identifier: Apache-2.0
#pragma once
// Profile elements: a hill with the dale beside it, cut out by crossings of the mean line.

#include <cstddef>
#include <span>
#include <vector>

namespace crestgate::analysis {

struct ElementParameters {
  std::size_t boundary_count = 0;     // kept by the walk in either direction
  bool has_elements = false;          // at least three boundaries: without, no value below exists
  double mean_spacing_mm = 0.0;       // Rsm
  double largest_spacing_mm = 0.0;    // Rsmx
  double spacing_deviation_mm = 0.0;  // Rsmq: standard deviation, divisor n
  double mean_height_um = 0.0;        // Rc
  double largest_height_um = 0.0;     // Rcx
  double height_deviation_um = 0.0;   // Rcq: standard deviation, divisor n
  double peaks_per_cm = 0.0;          // Rpc: 10 mm / Rsm
};

// Which runs above and below the mean line count, in micrometres; see ElementThresholds for percentages.
struct ElementOptions {
  double spacing_mm = 0.0;
  double hill_um = 0.0;  // least height of a hill
  double dale_um = 0.0;  // least depth of a dale
};

struct ElementWorkspace {
  struct Run {
    double start = 0.0;       // where the profile crosses into it, in samples
    double extreme_um = 0.0;  // of |z|
    bool is_hill = false;
  };
  std::vector<Run> runs;
  std::vector<double> boundaries;
  std::vector<double> extremes_um;
};

// Purpose   spacings and heights of the profile elements.
// Shape     heights_um: the evaluation length, mean line at 0, at least one sample, all finite.
// Method    Crossing the line with two thresholds. The profile is cut into runs of z >= 0 (hills) and z < 0
//           (dales), at crossings found by linear interpolation. A run counts when its largest |z| reaches
//           the threshold of its kind. Walking along, a run that counts and is of the other kind than the
//           last that counted puts a boundary at the crossing where it begins; runs that do not count belong
//           to the feature they lie in. The first boundary is dropped: the feature after it may have begun
//           before the evaluation length. An element reaches from one boundary to the next but one, hill-dale
//           and dale-hill elements alike; its height is the difference of its highest and lowest sample. The
//           walk is done in both directions and every number is the mean of the two, so that the tracing
//           direction makes no difference.
// Source    ISO 21920-2:2021 5.2 and crossing-the-line segmentation of ISO 16610-45 - from memory; the exact
//           rules, the ends and the divisor of the deviations are ours.
// Memory    allocates nothing once the workspace has seen a profile of this length.
ElementParameters profile_elements(std::span<const double> heights_um, const ElementOptions& options,
                                   ElementWorkspace& workspace);

}  // namespace crestgate::analysis
