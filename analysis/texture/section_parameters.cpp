// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/section_parameters.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::analysis {

SectionParameters section_parameters(std::span<const double> heights_um, std::size_t sections) {
  CRESTGATE_EXPECTS(sections > 0 && !heights_um.empty() && heights_um.size() % sections == 0);
  const std::size_t length = heights_um.size() / sections;
  double peaks = 0.0;
  double pits = 0.0;
  double largest = 0.0;
  for (std::size_t k = 0; k < sections; ++k) {
    const auto [lowest, highest] = std::ranges::minmax_element(heights_um.subspan(k * length, length));
    peaks += *highest;
    pits -= *lowest;
    largest = std::max(largest, *highest - *lowest);
  }
  const double n = static_cast<double>(sections);
  return {.mean_peak_um = peaks / n,
          .mean_pit_um = pits / n,
          .mean_height_um = (peaks + pits) / n,
          .largest_height_um = largest};
}

}  // namespace crestgate::analysis
