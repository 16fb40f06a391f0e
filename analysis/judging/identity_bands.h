// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the measured face itself says about which part it belongs to.

#include <optional>

#include "analysis/texture/texture_settings.h"
#include "base/result.h"

namespace crestgate::analysis {

struct Band {
  double lowest = 0.0;
  double highest = 0.0;
  [[nodiscard]] bool holds(double value) const { return value >= lowest && value <= highest; }
  friend bool operator==(const Band&, const Band&) = default;
};

// A face outside of a band is that of another part, or of the right one laid wrongly: no judgement.
struct IdentityBands {
  std::optional<Band> radius_mm = std::nullopt;       // of the arc that the form fit found
  std::optional<Band> face_length_mm = std::nullopt;  // between the places where the surface falls away
  [[nodiscard]] bool are_asked() const { return radius_mm || face_length_mm; }
  friend bool operator==(const IdentityBands&, const IdentityBands&) = default;
};

// Purpose   whether the settings measure what the bands are about.
// Errors    kInvalidConfig with a sentence: a band that holds nothing; a radius without a form "arc" of free
//           radius; a face length behind a polynomial, which is fitted to the edges as well, or behind a
//           disk, which rolls over them.
base::Outcome check_identity(const IdentityBands& bands, const TextureSettings& settings);

}  // namespace crestgate::analysis
