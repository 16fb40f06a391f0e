// SPDX-License-Identifier: Apache-2.0
#pragma once
// Heights in falling order.

#include <cstdint>
#include <span>
#include <vector>

namespace crestgate::analysis {

struct SortWorkspace {
  std::vector<std::uint64_t> keys;
  std::vector<std::uint64_t> other;
};

// Purpose   heights in falling order, the points of the material ratio curve.
// Shape     heights_um and falling_um of equal size; may be the same memory.
// Pre       all finite.
// Method    the heights become whole numbers, linearly from the highest to the lowest; two counting passes
//           over their digits put nearly all in place, and insertion the rest. Heights too unevenly spread
//           for that (one spike far away, clusters) are sorted by the digits of their bits instead; short
//           lists by comparing.
// Time      O(n) in every case; allocates nothing once the workspace has seen this length.
void sort_falling(std::span<const double> heights_um, std::span<double> falling_um, SortWorkspace& workspace);

}  // namespace crestgate::analysis
