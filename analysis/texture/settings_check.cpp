// SPDX-License-Identifier: Apache-2.0
#include <cmath>
#include <string>

#include "analysis/texture/number_text.h"
#include "analysis/texture/texture_settings.h"

namespace crestgate::analysis {
namespace {

constexpr int kMostSections = 1000;

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

bool is_positive(double value) { return value > 0.0 && std::isfinite(value); }
bool is_percent(double value) { return value >= 0.0 && value <= 100.0; }

base::Outcome check_lengths(const TextureSettings& settings) {
  if (!is_positive(settings.lambda_c_mm)) {
    return invalid("lambda_c must be a positive number of mm, found " + shortest(settings.lambda_c_mm));
  }
  if (!(settings.lambda_s_mm >= 0.0 && settings.lambda_s_mm < settings.lambda_c_mm)) {
    return invalid("lambda_s must be 0 (none) or positive and below lambda_c " +
                   shortest(settings.lambda_c_mm) + " mm, found " + shortest(settings.lambda_s_mm) + " mm");
  }
  if (settings.sections < 1 || settings.sections > kMostSections) {
    return invalid("the number of sections must be 1 to " + std::to_string(kMostSections) + ", found " +
                   std::to_string(settings.sections));
  }
  if (settings.section_length_mm && !is_positive(*settings.section_length_mm)) {
    return invalid("the section length must be a positive number of mm, found " +
                   shortest(*settings.section_length_mm));
  }
  if (settings.waves &&
      !(is_positive(settings.waves->shortest_mm) && is_positive(settings.waves->longest_mm) &&
        settings.waves->shortest_mm < settings.waves->longest_mm)) {
    return invalid("a wave band must go from a shorter to a longer wavelength, found " +
                   shortest(settings.waves->shortest_mm) + " mm to " + shortest(settings.waves->longest_mm) +
                   " mm");
  }
  return base::Done{};
}

base::Outcome check_form(const FormRemoval& form) {
  if (form.kind == FormKind::kPolynomial && (form.degree < 1 || form.degree > kHighestFormDegree)) {
    return invalid("the degree of the form polynomial must be 1 to " + std::to_string(kHighestFormDegree) +
                   ", found " + std::to_string(form.degree));
  }
  if (form.kind == FormKind::kArc && form.radius_mm && !is_positive(*form.radius_mm)) {
    return invalid("the radius of the form arc must be a positive number of mm, found " +
                   shortest(*form.radius_mm));
  }
  return base::Done{};
}

base::Outcome check_ratios(const TextureSettings& settings) {
  for (const MaterialRatioAt& at : settings.material_ratios) {
    if (!is_percent(at.reference_percent) || !std::isfinite(at.depth_um)) {
      return invalid("a material ratio needs a reference of 0 to 100 % and a finite depth, found " +
                     shortest(at.reference_percent) + " % and " + shortest(at.depth_um) + " um");
    }
  }
  for (const double height_um : settings.material_ratio_heights_um) {
    if (!std::isfinite(height_um)) return invalid("the height of a material ratio must be finite");
  }
  for (const double percent : settings.material_ratio_percents) {
    if (!is_percent(percent)) {
      return invalid("Rmc wants a material ratio of 0 to 100 %, found " + shortest(percent) + " %");
    }
  }
  for (const HeightDifferenceBetween& between : settings.height_differences) {
    if (!is_percent(between.upper_percent) || !is_percent(between.lower_percent) ||
        !(between.upper_percent < between.lower_percent)) {
      return invalid("Rdc wants two rising material ratios of 0 to 100 %, found " +
                     shortest(between.upper_percent) + " % and " + shortest(between.lower_percent) + " %");
    }
  }
  return base::Done{};
}

}  // namespace

base::Outcome check_settings(const TextureSettings& settings) {
  if (auto lengths = check_lengths(settings); !lengths) return lengths;
  if (auto form = check_form(settings.form); !form) return form;
  return check_ratios(settings);
}

}  // namespace crestgate::analysis
