// SPDX-License-Identifier: Apache-2.0
#pragma once
// How one zone's profile is turned into numbers. Every number that leaves this room was made under such
// settings and must be published with them.

#include <optional>
#include <vector>

#include "analysis/filters/filter_kind.h"
#include "analysis/profile/form_removal.h"
#include "base/result.h"

namespace crestgate::analysis {

// Rmr(p, dc): the material ratio at a depth below the height where the ratio is `reference_percent`.
struct MaterialRatioAt {
  double reference_percent = 5.0;
  double depth_um = 1.0;  // positive: into the material
  friend bool operator==(const MaterialRatioAt&, const MaterialRatioAt&) = default;
};

// Rdc(p, q): the height between two material ratios.
struct HeightDifferenceBetween {
  double upper_percent = 2.0;   // p, the smaller ratio, nearer to the peaks
  double lower_percent = 98.0;  // q
  friend bool operator==(const HeightDifferenceBetween&, const HeightDifferenceBetween&) = default;
};

// Wavelengths that count as waves of a short face. Independent of lambda_c.
struct WaveBand {
  double shortest_mm = 0.8;
  double longest_mm = 8.0;
  friend bool operator==(const WaveBand&, const WaveBand&) = default;
};

// Which hills and dales count as profile elements (Rsm, Rc, Rpc): those at least this high or deep, in
// percent of the profile's own Rz. ISO 4287:1997 had 10 %; the default of ISO 21920-3:2021 is not known here.
struct ElementThresholds {
  double hill_percent = 10.0;
  double dale_percent = 10.0;
  friend bool operator==(const ElementThresholds&, const ElementThresholds&) = default;
};

// A disk rolled over (closing) or under (opening) the primary profile: what a tip or roller of this radius
// meets.
struct DiskFilter {
  enum class Kind { kClosing, kOpening };
  Kind kind = Kind::kClosing;
  double radius_mm = 0.002;
  friend bool operator==(const DiskFilter&, const DiskFilter&) = default;
};

struct TextureSettings {
  double lambda_s_mm = 0.0025;  // nesting index of the S-filter; 0: none
  double lambda_c_mm = 0.8;     // nesting index between roughness and waviness
  std::optional<double> lambda_f_mm =
      std::nullopt;  // nesting index beyond which waviness is form; absent: none
  FilterKind filter = FilterKind::kGaussian;
  // With a run-up of lambda_c on both sides the rules give the same roughness; the cut kernel needs no
  // assumption about a surface that was not measured.
  EndRule ends = EndRule::kRenormalised;
  FormRemoval form;
  std::optional<DiskFilter> disk = std::nullopt;  // absent: none
  ElementThresholds elements;
  double pruning_percent =
      5.0;  // of Rz: peaks and pits that stand out less are no features (Rpd, Rmpc, R5p ...)
  int sections = 5;
  std::optional<double> section_length_mm = std::nullopt;  // absent: lambda_c
  std::vector<MaterialRatioAt> material_ratios = {};
  std::vector<double>
      material_ratio_heights_um;  // Rmr(c): c from the mean line, positive away from the material
  std::vector<double> material_ratio_percents;  // Rmc(p)
  std::vector<HeightDifferenceBetween> height_differences;
  std::optional<WaveBand> waves = std::nullopt;  // absent: no wave parameters
  friend bool operator==(const TextureSettings&, const TextureSettings&) = default;
};

// Purpose   what can be said about settings before any trace is there.
// Errors    kInvalidConfig with a sentence: what is wanted and what was found.
base::Outcome check_settings(const TextureSettings& settings);

}  // namespace crestgate::analysis
