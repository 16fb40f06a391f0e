// SPDX-License-Identifier: Apache-2.0
#pragma once
// How one zone's profile is turned into numbers. Every number that leaves this room was made under such
// settings and must be published with them.

#include <optional>
#include <string>
#include <vector>

#include "analysis/face/face_form_settings.h"
#include "analysis/filters/filter_kind.h"
#include "analysis/profile/form_removal.h"
#include "analysis/profile/trace_preparation.h"
#include "analysis/texture/ratio_symbol.h"
#include "analysis/waves/wave_band.h"
#include "base/result.h"

namespace crestgate::analysis {

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
  std::string setting_class = {};  // "Sc3" when the lengths below come from a class of ISO 21920-3; "": none
  std::optional<double> most_spacing_um = std::nullopt;     // that the class allows; absent: no class
  std::optional<double> most_tip_radius_um = std::nullopt;  // likewise
  PreparationOptions preparation = {};
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
  std::vector<RatioSymbol> ratios = {};                 // Rmr(c), Rmr(p,dc), Rmc(p), Rdc(p,q), of P and W too
  std::optional<WaveBand> waves = std::nullopt;         // absent: no wave parameters
  std::optional<FaceFormSettings> face = std::nullopt;  // absent: no crown, taper, edges
  friend bool operator==(const TextureSettings&, const TextureSettings&) = default;
};

// Purpose   what can be said about settings before any trace is there.
// Errors    kInvalidConfig with a sentence: what is wanted and what was found.
base::Outcome check_settings(const TextureSettings& settings);

}  // namespace crestgate::analysis
