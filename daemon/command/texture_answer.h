// SPDX-License-Identifier: Apache-2.0
#pragma once
// What `crestgate texture` prints.

#include <string>
#include <vector>

#include "analysis/texture/texture_computation.h"
#include "daemon/command/trace_source.h"

namespace crestgate::command {

struct TextureNumbers {
  std::string trace;               // for people
  std::size_t sample_count = 0;    // measured
  std::size_t prepared_count = 0;  // after resampling
  double measured_spacing_mm = 0.0;
  double spacing_mm = 0.0;
  analysis::TextureSettings settings;
  analysis::EvaluationLayout layout;
  std::vector<analysis::ParameterName> names;
  std::vector<analysis::ParameterValue> values;
  std::vector<std::vector<double>> sections;  // one list per name, empty where there are none
  analysis::PreparationReport preparation;
  analysis::MeanLineReport mean_line;
  analysis::WaveFinding waves;
  std::vector<std::string> notes;  // about older names that were asked for
};

void print_texture_json(const TextureNumbers& numbers);
// `listed`  one parameter a line, as they were asked for; otherwise R, W and P side by side.
void print_texture_text(const TextureNumbers& numbers, bool listed);

}  // namespace crestgate::command
