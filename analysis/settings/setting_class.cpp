// SPDX-License-Identifier: Apache-2.0
#include "analysis/settings/setting_class.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "analysis/text/number_text.h"
#include "analysis/texture/parameter_names.h"

namespace crestgate::analysis {
namespace {

constexpr double kNoBound = std::numeric_limits<double>::infinity();

// ISO 21920-3:2021 4.4, all numbers from memory.
constexpr std::array<SettingClass, kSettingClassCount> kClasses = {{
    {"Sc1", 0.08, 0.0025, 0.08, 0.4, 0.5, 2.0, 0.02, 0.16},
    {"Sc2", 0.25, 0.0025, 0.25, 1.25, 0.5, 2.0, 0.1, 0.8},
    {"Sc3", 0.8, 0.0025, 0.8, 4.0, 0.5, 2.0, 2.0, 16.0},
    {"Sc4", 2.5, 0.008, 2.5, 12.5, 1.5, 5.0, 10.0, 80.0},
    {"Sc5", 8.0, 0.025, 8.0, 40.0, 5.0, 10.0, kNoBound, kNoBound},
}};

constexpr const SettingClass& kDefaultClass = kClasses[2];  // Sc3

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

// One limit's opinion.
struct Pick {
  const SettingClass* setting = nullptr;
  bool by_default = false;
  std::string why;
};

bool is_one_of(std::string_view symbol, std::span<const std::string_view> symbols) {
  return std::ranges::find(symbols, symbol) != symbols.end();
}

// Why no class follows from this symbol; empty when one does.
std::string_view class_required_because(std::string_view symbol) {
  constexpr std::array<std::string_view, 5> kUnknownRows = {"Rq", "Rp", "Rv", "Rzx", "Rt"};
  if (is_one_of(symbol, kUnknownRows)) return "its rows of the class table are not known here";
  if (symbol == "Pt") return "the standard's rule for it is not known here";
  if (symbol.starts_with('W')) return "waviness has no default";
  return "";
}

base::Result<Pick> pick_by_height(const base::Limit& limit) {
  const bool upper = limit.upper.has_value();
  const double value_um = upper ? *limit.upper : limit.lower.value_or(-1.0);
  const std::string what = std::string(upper ? "the upper" : "the lower") + " limit of " + limit.symbol;
  if (limit.unit != "um" || !(value_um >= 0.0) || !std::isfinite(value_um)) {
    return invalid(what + " cannot pick a setting class: expected a height in um of at least 0, found " +
                   shortest(value_um) + " " + limit.unit);
  }
  const auto row = std::ranges::find_if(kClasses, [&](const SettingClass& setting) {
    return value_um <= (limit.symbol == "Ra" ? setting.ra_up_to_um : setting.rz_up_to_um);
  });
  return Pick{.setting = &*row, .by_default = false, .why = what + ", " + shortest(value_um) + " um"};
}

base::Result<std::vector<Pick>> picks_of(std::span<const base::Limit> limits) {
  std::vector<Pick> picks;
  for (const base::Limit& limit : limits) {
    if (is_of_waves_or_face(limit.symbol)) continue;
    if (const auto because = class_required_because(limit.symbol); !because.empty()) {
      return invalid("no setting class follows from the limit of " + limit.symbol + " (" +
                     std::string(because) + "): state the setting class in the plan");
    }
    if (limit.symbol == "Ra" || limit.symbol == "Rz") {
      auto pick = pick_by_height(limit);
      if (!pick) return pick.error();
      picks.push_back(std::move(*pick));
    } else {
      picks.push_back(
          {.setting = &kDefaultClass, .by_default = true, .why = "the default for " + limit.symbol});
    }
  }
  return picks;
}

}  // namespace

int SettingClass::sections() const {
  return static_cast<int>(std::lround(evaluation_length_mm / section_length_mm));
}

const std::array<SettingClass, kSettingClassCount>& setting_classes() { return kClasses; }

base::Result<SettingClass> setting_class_named(std::string_view name) {
  const auto found = std::ranges::find(kClasses, name, &SettingClass::name);
  if (found != kClasses.end()) return *found;
  std::string names;
  for (const SettingClass& setting : kClasses)
    names += (names.empty() ? "" : ", ") + std::string(setting.name);
  return invalid("expected a setting class (" + names + "), found '" + std::string(name.substr(0, 40)) + "'");
}

base::Result<ClassChoice> choose_setting_class(std::optional<std::string_view> named,
                                               std::span<const base::Limit> limits) {
  if (named) {
    auto setting = setting_class_named(*named);
    if (!setting) return setting.error();
    return ClassChoice{.setting = *setting,
                       .source = ClassSource::kNamed,
                       .why = std::string(setting->name) + ": the plan states it"};
  }
  const auto picks = picks_of(limits);
  if (!picks) return picks.error();
  if (picks->empty()) {
    return ClassChoice{.setting = kDefaultClass,
                       .source = ClassSource::kDefault,
                       .why = std::string(kDefaultClass.name) + ": the default, no limit picks a class"};
  }
  const auto& first = picks->front();
  const bool agreed =
      std::ranges::all_of(*picks, [&](const Pick& pick) { return pick.setting == first.setting; });
  if (!agreed) {
    std::string all;
    for (const Pick& pick : *picks) {
      all += (all.empty() ? "" : ", ") + std::string(pick.setting->name) + " (" + pick.why + ")";
    }
    return invalid("the limits ask for different setting classes: " + all +
                   "; state the setting class in the plan, or measure them in zones of their own");
  }
  const auto by_limit = std::ranges::find(*picks, false, &Pick::by_default);
  const Pick& decided = by_limit == picks->end() ? first : *by_limit;
  return ClassChoice{.setting = *decided.setting,
                     .source = decided.by_default ? ClassSource::kDefault : ClassSource::kLimits,
                     .why = std::string(decided.setting->name) + ": " + decided.why};
}

void apply_setting_class(const SettingClass& setting, TextureSettings& settings) {
  settings.lambda_c_mm = setting.lambda_c_mm;
  settings.lambda_s_mm = setting.lambda_s_mm;
  settings.sections = setting.sections();
  settings.section_length_mm = setting.section_length_mm;
  settings.setting_class = setting.name;
  settings.most_spacing_um = setting.most_spacing_um;
  settings.most_tip_radius_um = setting.most_tip_radius_um;
}

}  // namespace crestgate::analysis
