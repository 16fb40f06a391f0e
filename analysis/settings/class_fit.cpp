// SPDX-License-Identifier: Apache-2.0
#include "analysis/settings/class_fit.h"

#include <algorithm>
#include <cmath>

#include "analysis/text/number_text.h"
#include "analysis/texture/evaluation_layout.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr double kRounding = 1e-9;

bool is_positive(double value) { return value > 0.0 && std::isfinite(value); }

// To the nanometre, as short as possible.
std::string millimetres(double length_mm) { return shortest(std::round(length_mm * 1e6) / 1e6) + " mm"; }

std::string described(const SettingClass& setting) {
  return std::string(setting.name) + " (lambda_c " + millimetres(setting.lambda_c_mm) + ")";
}

std::string sections_of(const ClassFit& fit) {
  return std::to_string(fit.sections_that_fit) +
         (fit.sections_that_fit == 1 ? " section of " : " sections of ");
}

// The longest class that fits in full, or else the longest other one of which a section fits, if any does.
std::string other_choice(const SettingClass& wanted, const MeasurableFace& face) {
  const auto fits = fits_of(face);
  const auto full = std::find_if(fits.rbegin(), fits.rend(), [](const ClassFit& fit) { return fit.fits(); });
  if (full != fits.rend()) return described(full->setting) + " in full";
  const auto part = std::find_if(fits.rbegin(), fits.rend(), [&](const ClassFit& fit) {
    return fit.spacing_fits && fit.sections_that_fit > 0 && fit.setting.name != wanted.name;
  });
  return part == fits.rend() ? "" : sections_of(*part) + described(part->setting);
}

}  // namespace

ClassFit fit_of(const SettingClass& setting, const MeasurableFace& face) {
  ClassFit fit{.setting = setting};
  const double run_mm = 2.0 * face.run_up_cut_offs * setting.lambda_c_mm;
  fit.needed_mm = setting.evaluation_length_mm + run_mm;
  const double left = (face.length_mm - run_mm) / setting.section_length_mm * (1.0 + kRounding);
  fit.sections_that_fit =
      static_cast<int>(std::clamp(std::floor(left), 0.0, static_cast<double>(setting.sections())));
  fit.spacing_fits = is_fine_enough(face.spacing_um, setting.lambda_s_mm * kUmPerMm / kSamplesPerLambdaS);
  return fit;
}

std::array<ClassFit, kSettingClassCount> fits_of(const MeasurableFace& face) {
  std::array<ClassFit, kSettingClassCount> fits;
  std::ranges::transform(setting_classes(), fits.begin(),
                         [&](const SettingClass& setting) { return fit_of(setting, face); });
  return fits;
}

base::Outcome check_face(const SettingClass& wanted, const MeasurableFace& face) {
  if (!is_positive(face.length_mm) || !is_positive(face.spacing_um) || !is_positive(face.run_up_cut_offs)) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "a face needs a positive length, spacing and run-up, found " +
                           shortest(face.length_mm) + " mm, " + shortest(face.spacing_um) + " um and " +
                           shortest(face.run_up_cut_offs) + " cut-offs"};
  }
  const ClassFit fit = fit_of(wanted, face);
  const std::string name(wanted.name);
  if (!fit.spacing_fits) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       name + " needs a sample spacing of at most " +
                           shortest(wanted.lambda_s_mm * kUmPerMm / kSamplesPerLambdaS) +
                           " um for its lambda_s of " + shortest(wanted.lambda_s_mm * kUmPerMm) +
                           " um, found " + shortest(face.spacing_um) + " um"};
  }
  if (fit.fits()) return base::Done{};
  std::string what = fit.sections_that_fit > 0 ? sections_of(fit) + name : "";
  const std::string other = other_choice(wanted, face);
  if (!other.empty()) what += (what.empty() ? "" : ", or ") + other;
  if (what.empty()) what = "not one section of any class fits";
  return base::Error{base::ErrorCode::kTooShort, name + " needs " + millimetres(fit.needed_mm) +
                                                     " with run-up and run-down, the face has " +
                                                     millimetres(face.length_mm) + ": " + what};
}

}  // namespace crestgate::analysis
