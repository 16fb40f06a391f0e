// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which setting classes a face is long enough for.

#include <array>
#include <cstddef>

#include "analysis/settings/setting_class.h"
#include "base/result.h"

namespace crestgate::analysis {

// What can be traced: the usable length with its run-up and run-down, as sampled.
struct MeasurableFace {
  double length_mm = 0.0;
  double spacing_um = 0.0;
  // Run-up and run-down, in cut-offs: 1 for every filter; 0.5 is the least that the linear Gaussian filter
  // allows, see EvaluationLayout::full_run_up.
  double run_up_cut_offs = 1.0;
};

struct ClassFit {
  SettingClass setting;
  double needed_mm = 0.0;     // all sections with run-up and run-down
  int sections_that_fit = 0;  // with run-up and run-down, at most the class's own number
  bool spacing_fits = false;  // lambda_s / 5, without which the S-filter has another transmission
  [[nodiscard]] bool fits() const { return spacing_fits && sections_that_fit == setting.sections(); }
};

// Pre       length and spacing positive.
ClassFit fit_of(const SettingClass& setting, const MeasurableFace& face);
std::array<ClassFit, kSettingClassCount> fits_of(const MeasurableFace& face);

// Purpose   whether the wanted class can be measured on a face; if not, what can.
// Errors    kInvalidConfig: no positive length, spacing or run-up. kOutOfRange: the spacing. kTooShort,
//           for example "Sc3 needs 5.6 mm with run-up and run-down, the face has 4.2 mm: 3 sections of
//           Sc3, or Sc2 (lambda_c 0.25 mm) in full". Fewer sections, or another class, is the engineer's
//           decision and goes into the plan.
base::Outcome check_face(const SettingClass& wanted, const MeasurableFace& face);

}  // namespace crestgate::analysis
