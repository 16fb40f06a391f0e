// SPDX-License-Identifier: Apache-2.0
#pragma once
// A disk rolled along a profile.

#include <cstddef>
#include <span>
#include <vector>

#include "base/result.h"

namespace crestgate::analysis {

struct RollingDiskOptions {
  double radius_mm = 0.002;
  double spacing_mm = 0.0005;
  std::size_t sample_count = 0;
};

struct RollingDiskWorkspace {
  // A sample whose arc is the highest from position `from` until the next arc takes over.
  struct Arc {
    std::size_t sample = 0;
    std::size_t from = 0;
  };
  std::vector<Arc> arcs;
  std::vector<double> heights;
  std::vector<double> upside_down;
};

// Purpose   what a disk (tip, roller, ball) of this radius makes of a profile. Heights are um, the radius and
//           the spacing mm; the disk is round where both are drawn in the same unit.
// Method    With u the distance along the trace and b(u) = sqrt(r^2 - u^2), |u| <= r:
//             dilation D(x) = max z(x+u) + b(u)   where the centre runs when the disk rolls on top
//             traced   T(x) = D(x) - r            what a tip of this radius reports
//             erosion  E(x) = min z(x+u) - b(u)
//             closing  erosion of the dilation; >= the profile and equal to it where the disk touches
//             opening  the same upside down; <= the profile
//           Disk centres lie at the samples and touch at samples: with few spacings in a radius the closing
//           is rough by dx^2 / (2 r). The disk sees nothing beyond the ends,
//           which biases the result within r of each end. Arcs of one radius about two samples cross at most
//           once, so the highest of them is a stack of arcs with the places where they take over: each
//           sample enters and leaves it once.
// Source    ISO 16610-41:2015, ISO 16610-49:2015 - definitions from memory; X. Lou, X. Jiang, P. Scott,
//           Precision Engineering 36 (2012) 414 (abstract) for the naive algorithm.
class RollingDisk {
 public:
  // Errors    kOutOfRange: a radius that is not positive and finite.
  // Pre       spacing positive, at least one sample.
  static base::Result<RollingDisk> prepare(const RollingDiskOptions& options);

  // Shape     heights_um and result_um: sample_count samples; must not overlap.
  // Pre       all heights finite.
  void trace(std::span<const double> heights_um, std::span<double> result_um,
             RollingDiskWorkspace& workspace) const;
  void dilate(std::span<const double> heights_um, std::span<double> result_um,
              RollingDiskWorkspace& workspace) const;
  void erode(std::span<const double> heights_um, std::span<double> result_um,
             RollingDiskWorkspace& workspace) const;
  void close(std::span<const double> heights_um, std::span<double> result_um,
             RollingDiskWorkspace& workspace) const;
  void open(std::span<const double> heights_um, std::span<double> result_um,
            RollingDiskWorkspace& workspace) const;

 private:
  RollingDisk() = default;
  void roll_over(std::span<const double> heights, std::span<double> result,
                 RollingDiskWorkspace& workspace) const;
  [[nodiscard]] std::size_t takes_over(std::span<const double> heights, std::size_t before,
                                       std::size_t after) const;
  [[nodiscard]] double estimated_crossing(std::span<const double> heights, std::size_t before,
                                          std::size_t after) const;

  std::size_t sample_count_ = 0;
  double radius_um_ = 0.0;
  double spacing_um_ = 0.0;
  std::vector<double> drop_um_;  // r - b(u) at whole numbers of spacings, as far as the disk and trace reach
};

}  // namespace crestgate::analysis
