// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/section_parameters.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

SectionExtremes extremes_of(std::span<const double> z) {
  double highest = z[0];
  double lowest = z[0];
  for (const double height : z) {
    highest = std::max(highest, height);
    lowest = std::min(lowest, height);
  }
  return {.peak_um = highest, .pit_um = -lowest};
}

// Adds up sections as they come.
class SectionMeans {
 public:
  void add(const SectionExtremes& section) {
    peaks_um_ += section.peak_um;
    pits_um_ += section.pit_um;
    largest_um_ = std::max(largest_um_, section.height_um());
    count_ += 1.0;
  }
  [[nodiscard]] SectionParameters result() const {
    return {.mean_peak_um = peaks_um_ / count_,
            .mean_pit_um = pits_um_ / count_,
            .mean_height_um = (peaks_um_ + pits_um_) / count_,
            .largest_height_um = largest_um_};
  }

 private:
  double peaks_um_ = 0.0;
  double pits_um_ = 0.0;
  double largest_um_ = 0.0;
  double count_ = 0.0;
};

}  // namespace

void find_section_extremes(std::span<const double> heights_um, std::span<SectionExtremes> sections) {
  CRESTGATE_EXPECTS(!sections.empty() && !heights_um.empty() && heights_um.size() % sections.size() == 0);
  const std::size_t length = heights_um.size() / sections.size();
  for (std::size_t k = 0; k < sections.size(); ++k) {
    sections[k] = extremes_of(heights_um.subspan(k * length, length));
  }
}

SectionParameters section_parameters(std::span<const SectionExtremes> sections) {
  CRESTGATE_EXPECTS(!sections.empty());
  SectionMeans means;
  for (const SectionExtremes& section : sections) means.add(section);
  return means.result();
}

SectionParameters section_parameters(std::span<const double> heights_um, std::size_t sections) {
  CRESTGATE_EXPECTS(sections > 0 && !heights_um.empty() && heights_um.size() % sections == 0);
  const std::size_t length = heights_um.size() / sections;
  SectionMeans means;
  for (std::size_t k = 0; k < sections; ++k) means.add(extremes_of(heights_um.subspan(k * length, length)));
  return means.result();
}

}  // namespace crestgate::analysis
