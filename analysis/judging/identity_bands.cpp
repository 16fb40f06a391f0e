// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/identity_bands.h"

#include <cmath>
#include <string>
#include <utility>

#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

base::Outcome check_band(const std::optional<Band>& band, const std::string& what) {
  if (!band || (band->lowest > 0.0 && band->lowest <= band->highest && std::isfinite(band->highest))) {
    return base::Done{};
  }
  return invalid(what + " of the plan's part must lie in a band of positive lengths, found " +
                 shortest(band->lowest) + " to " + shortest(band->highest) + " mm");
}

}  // namespace

base::Outcome check_identity(const IdentityBands& bands, const TextureSettings& settings) {
  if (auto checked = check_band(bands.radius_mm, "the radius"); !checked) return checked;
  if (auto checked = check_band(bands.face_length_mm, "the face length"); !checked) return checked;
  if (bands.radius_mm && settings.form.kind != FormKind::kArc) {
    return invalid("a radius is measured only where the form is an arc");
  }
  if (bands.radius_mm && settings.form.radius_mm) {
    return invalid("the form's radius is given as " + shortest(*settings.form.radius_mm) +
                   " mm, so none is measured");
  }
  if (bands.face_length_mm && settings.form.kind == FormKind::kPolynomial) {
    return invalid("a face length is not measured behind a polynomial: it is fitted to the edges as well");
  }
  if (bands.face_length_mm && settings.disk) {
    return invalid("a face length is not measured behind a disk: it rolls over the edges");
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
