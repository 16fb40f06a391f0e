// SPDX-License-Identifier: Apache-2.0
#pragma once
// Peaks, pits and heights taken section by section.

#include <cstddef>
#include <span>

namespace crestgate::analysis {

struct SectionParameters {
  double mean_peak_um = 0.0;       // Rp: mean of the sections' max z
  double mean_pit_um = 0.0;        // Rv: mean of the sections' -min z
  double mean_height_um = 0.0;     // Rz: mean of the sections' max z - min z
  double largest_height_um = 0.0;  // Rzx: largest of them
};

// Peak and pit of one section, for rules that look at sections one by one.
struct SectionExtremes {
  double peak_um = 0.0;  // max z
  double pit_um = 0.0;   // -min z
  [[nodiscard]] double height_um() const { return peak_um + pit_um; }
};

// Purpose   peak and pit of every section of a profile whose mean line is z = 0. Sections are neither centred
//           nor levelled; a section wholly above the line has a negative pit.
// Shape     heights_um: sections.size() * section_samples samples; section k is the k-th part of them.
// Source    ISO 21920-2:2021 4.2 and 5.1 - from memory.
void find_section_extremes(std::span<const double> heights_um, std::span<SectionExtremes> sections);

// Purpose   the section parameters from at least one section.
SectionParameters section_parameters(std::span<const SectionExtremes> sections);

// Purpose   both in one step, for callers who do not need the sections.
// Shape     heights_um: sections * section_samples samples.
SectionParameters section_parameters(std::span<const double> heights_um, std::size_t sections);

}  // namespace crestgate::analysis
