// SPDX-License-Identifier: Apache-2.0
#pragma once
// The table of all parameters: one entry says how a number is called and where it is read.

#include <optional>
#include <string_view>
#include <vector>

#include "analysis/face/face_form.h"
#include "analysis/texture/parameter_family.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/profile_analysis.h"
#include "analysis/texture/ratio_symbol.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/waves/wave_finding.h"

namespace crestgate::analysis {

// Which value of a section a parameter is the mean of.
enum class SectionValue { kNone, kPeak, kPit, kHeight };

// One parameter that R, W and P have alike; its symbol is the profile's letter and the suffix.
struct ProfileEntry {
  std::string_view suffix;
  std::string_view unit;
  ParameterFamily family;
  std::optional<double> (*read)(const ProfileNumbers&);  // absent: does not exist on this profile
  SectionValue section = SectionValue::kNone;
};

// Where a true value may lie that the trace alone does not settle.
struct ValueRange {
  double least = 0.0;
  double most = 0.0;
};

// One number about waves or the form of the face.
struct WaveEntry {
  std::string_view symbol;
  std::string_view unit;
  std::optional<double> (*read)(const WaveFinding&);
  ValueRange (*range)(const WaveFinding&) = nullptr;  // null: what is read is all there is
};
struct FaceEntry {
  std::string_view symbol;
  std::string_view unit;
  std::optional<double> (*read)(const FaceFinding&);
  ValueRange (*range)(const FaceFinding&) = nullptr;
  bool of_the_plan = false;  // follows from the settings alone: a limit on it would judge nothing
};

// One parameter of a computation; exactly one of the pointers is set.
struct Parameter {
  ParameterName name;
  char profile = ' ';  // R, W or P, ' ' for waves and face
  const ProfileEntry* of_profile = nullptr;
  std::optional<RatioSymbol> ratio;
  const WaveEntry* of_waves = nullptr;
  const FaceEntry* of_face = nullptr;
  bool routine = false;  // recorded with every judgement
};

// Everything that a computation with these settings can give, in the order in which it is shown: R, W, P,
// ratios, waves, face.
std::vector<Parameter> parameter_list(const TextureSettings& settings);

// What a symbol of R, W, P, waves or face stands for, whatever the settings; absent: no such symbol, or a
// ratio.
std::optional<Parameter> find_parameter(std::string_view symbol);

}  // namespace crestgate::analysis
