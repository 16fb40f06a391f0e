// SPDX-License-Identifier: Apache-2.0
#pragma once
// Whether a measured face can be that of the plan's part.

#include <optional>
#include <string>

#include "analysis/face/face_length.h"
#include "analysis/judging/identity_bands.h"
#include "analysis/profile/form_removal.h"
#include "analysis/texture/evaluation_layout.h"

namespace crestgate::analysis {

// What was measured of a face that identifies it.
struct MeasuredFace {
  FormFinding form;
  FaceLengthFinding length;  // looked at only when a face length is asked for
};

// Purpose   why this is not shown to be the plan's part; nothing when it fits every band.
// Method    a number outside of its band; a face length that the traverse does not show; a face that does not
//           hold the evaluation length with half a cut-off before and after: then its texture is not that of
//           the face. The radius is compared first, its sign (shaft or bore) is not looked at.
// Shape     "fitted radius 25.03 mm, the plan's part has 21.8 to 22.2 mm": decimals until the number is seen
//           to lie outside.
// Memory    allocates nothing where the face fits.
std::optional<std::string> why_not_this_part(const IdentityBands& bands, const MeasuredFace& face,
                                             const EvaluationLayout& layout, double lambda_c_mm);

}  // namespace crestgate::analysis
