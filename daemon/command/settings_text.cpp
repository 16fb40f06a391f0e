// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/settings_text.h"

#include "analysis/text/number_text.h"

namespace crestgate::command {

using analysis::shortest;

std::string form_text(const analysis::FormRemoval& form) {
  switch (form.kind) {
    case analysis::FormKind::kNone:
      return "none";
    case analysis::FormKind::kLine:
      return "line";
    case analysis::FormKind::kArc:
      return form.radius_mm ? "arc:" + shortest(*form.radius_mm) : "arc";
    case analysis::FormKind::kPolynomial:
      return "poly:" + std::to_string(form.degree);
  }
  return "?";
}

std::string lengths_text(const analysis::TextureSettings& settings) {
  std::string text = settings.setting_class.empty() ? "" : settings.setting_class + ": ";
  text += "lambda_s " + shortest(settings.lambda_s_mm * 1000.0) + " um, lambda_c " +
          shortest(settings.lambda_c_mm) + " mm";
  if (settings.lambda_f_mm) text += ", lambda_f " + shortest(*settings.lambda_f_mm) + " mm";
  return text;
}

}  // namespace crestgate::command
