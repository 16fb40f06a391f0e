// SPDX-License-Identifier: Apache-2.0
#pragma once
// The setting classes of ISO 21920-3 as data, and the class that a specification asks for.

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "analysis/texture/texture_settings.h"
#include "base/judgement.h"
#include "base/result.h"

namespace crestgate::analysis {

// One row of the table. Limits belong to the row up to and including `*_up_to_um`, above that of the row
// before.
struct SettingClass {
  std::string_view name;  // "Sc1" .. "Sc5"
  double lambda_c_mm = 0.0;
  double lambda_s_mm = 0.0;
  double section_length_mm = 0.0;
  double evaluation_length_mm = 0.0;
  double most_spacing_um = 0.0;
  double most_tip_radius_um = 0.0;
  double ra_up_to_um = 0.0;  // infinite in the last row
  double rz_up_to_um = 0.0;

  [[nodiscard]] int sections() const;  // evaluation length / section length: 5 in every row
};

constexpr std::size_t kSettingClassCount = 5;

// Source    ISO 21920-3:2021 4.4 - every number from memory; the standard is on the list for revision, so
//           the table is data and nothing else knows its numbers.
const std::array<SettingClass, kSettingClassCount>& setting_classes();

// Errors    kInvalidConfig: no such class, with the names there are.
base::Result<SettingClass> setting_class_named(std::string_view name);

enum class ClassSource {
  kNamed,    // the plan states the class
  kLimits,   // from the limits of Ra or Rz
  kDefault,  // nothing in the plan picks a class: Sc3
};

struct ClassChoice {
  SettingClass setting;
  ClassSource source = ClassSource::kDefault;
  std::string why;  // "Sc2: the upper limit of Rz, 0.6 um", "Sc3: the plan states it"
};

// Purpose   the class that a zone is measured with.
// Pre       symbols are canonical (parameter_alias.h).
// Method    A named class decides. Otherwise every limit of Ra or Rz picks the row that holds its upper
//           limit, or its lower limit when it has no upper one; a value on the border of two rows picks
//           the finer one. A measured value never plays a part. Any other parameter of R stands for Sc3.
//           Our own parameters of waves and face have a band and lengths of their own and pick nothing. All
//           picks must agree.
// Errors    kInvalidConfig: an unknown name; picks that differ, with each of them; a limit of Rq, Rp, Rv,
//           Rzx, Rt, of Pt or of a W parameter (rows of the standard not known here, or no default
//           there), where the plan must state a class; a limit that is no finite number of micrometres,
//           or below 0, where it should pick.
// Source    ISO 21920-3:2021 4.4.2 to 4.4.6 - from memory: upper limit, bilateral by the upper one, a
//           lower limit by its own value, Sc3 for all other parameters, a rule of its own for Pt.
base::Result<ClassChoice> choose_setting_class(std::optional<std::string_view> named,
                                               std::span<const base::Limit> limits);

// Purpose   name, lambda_c, lambda_s, number and length of sections of the class; everything else stays.
void apply_setting_class(const SettingClass& setting, TextureSettings& settings);

}  // namespace crestgate::analysis
