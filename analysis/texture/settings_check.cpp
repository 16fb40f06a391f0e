// SPDX-License-Identifier: Apache-2.0
#include <cmath>
#include <string>

#include "analysis/text/number_text.h"
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
  for (const RatioSymbol& ratio : settings.ratios) {
    // The canonical spelling is read back: one place knows what such a symbol may hold.
    const auto read = parse_ratio_symbol(symbol_of(ratio));
    if (!read) return invalid(read.error().detail);
    if (!(*read == ratio)) return invalid("no material ratio can be written as " + symbol_of(ratio));
  }
  return base::Done{};
}

base::Outcome check_choices(const TextureSettings& settings) {
  if (settings.lambda_f_mm &&
      !(std::isfinite(*settings.lambda_f_mm) && *settings.lambda_f_mm > settings.lambda_c_mm)) {
    return invalid("lambda_f must be above lambda_c " + shortest(settings.lambda_c_mm) + " mm, found " +
                   shortest(*settings.lambda_f_mm) + " mm");
  }
  if (settings.disk && !is_positive(settings.disk->radius_mm)) {
    return invalid("the radius of the disk must be a positive number of mm, found " +
                   shortest(settings.disk->radius_mm));
  }
  for (const double percent : {settings.elements.hill_percent, settings.elements.dale_percent}) {
    if (!is_percent(percent)) {
      return invalid("a profile element's least height must be 0 to 100 % of Rz, found " + shortest(percent));
    }
  }
  if (!(settings.pruning_percent > 0.0 && settings.pruning_percent <= 100.0)) {
    return invalid("the pruning of peaks must be above 0 and at most 100 % of Rz, found " +
                   shortest(settings.pruning_percent));
  }
  if (settings.waves && !(settings.waves->drive_um >= 0.0 && std::isfinite(settings.waves->drive_um))) {
    return invalid("the drive's own waves must be 0 or more um, found " + shortest(settings.waves->drive_um));
  }
  if (settings.waves && settings.form.kind == FormKind::kPolynomial && settings.form.degree > 2) {
    return invalid("waves need a form of order 2 at most, found a polynomial of degree " +
                   std::to_string(settings.form.degree) + ": it would take waves for form");
  }
  return base::Done{};
}

}  // namespace

base::Outcome check_settings(const TextureSettings& settings) {
  if (auto lengths = check_lengths(settings); !lengths) return lengths;
  if (auto form = check_form(settings.form); !form) return form;
  if (auto ratios = check_ratios(settings); !ratios) return ratios;
  return check_choices(settings);
}

}  // namespace crestgate::analysis
