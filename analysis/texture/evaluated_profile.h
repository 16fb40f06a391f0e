// SPDX-License-Identifier: Apache-2.0
#pragma once
// A profile over the whole trace, with the part of it that is evaluated.

#include <cstddef>
#include <span>

#include "base/expects.h"

namespace crestgate::analysis {

// Derivatives may look at the samples before and after the evaluation length; sums run over it alone.
struct EvaluatedProfile {
  std::span<const double> whole_um;
  std::size_t first_sample = 0;
  std::size_t sample_count = 0;  // evaluated samples
  double spacing_mm = 0.0;

  [[nodiscard]] std::span<const double> heights_um() const {
    CRESTGATE_EXPECTS(first_sample <= whole_um.size() && sample_count <= whole_um.size() - first_sample);
    return whole_um.subspan(first_sample, sample_count);
  }
};

}  // namespace crestgate::analysis
