// SPDX-License-Identifier: Apache-2.0
#pragma once
// A trace with samples put before its start and after its end.

#include <cstddef>
#include <span>

#include "analysis/filters/filter_kind.h"

namespace crestgate::analysis {

// Whether the rule makes up samples other than 0.
constexpr bool needs_margins(EndRule ends) {
  return ends == EndRule::kReflected || ends == EndRule::kPointReflected || ends == EndRule::kExtrapolated;
}

// Whether the rule copies samples, and so needs more of them than a margin is long.
constexpr bool is_reflection(EndRule ends) {
  return ends == EndRule::kReflected || ends == EndRule::kPointReflected;
}

// Purpose   `padded` = margin samples, the heights, margin samples.
// Method    kExtrapolated: the least-squares line through the first (last) margin + 1 samples, or through all
//           if there are fewer, goes on. kRenormalised, kMomentOrder1 and kZero: zeros.
// Shape     padded: heights + 2 margin samples.
// Pre       at least one sample; for the reflections more than `margin`.
// Source    ISO 16610-28:2016 - names from memory, each rule as written in filter_kind.h.
void fill_padded(EndRule ends, std::size_t margin, std::span<const double> heights, std::span<double> padded);

}  // namespace crestgate::analysis
