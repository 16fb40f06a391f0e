// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/evaluation_layout.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

constexpr double kSamplesPerLambdaC = 20.0;
constexpr double kSectionTolerance = 0.01;
constexpr double kRounding = 1e-9;  // spacings come as nanometres turned into millimetres

base::Error out_of_range(std::string detail) { return {base::ErrorCode::kOutOfRange, std::move(detail)}; }

base::Outcome check_spacing(const TextureSettings& settings, double spacing_mm) {
  if (!(spacing_mm > 0.0) || !std::isfinite(spacing_mm)) {
    return out_of_range("the sample spacing must be a positive number of mm, found " + shortest(spacing_mm));
  }
  if (settings.lambda_s_mm > 0.0 && !is_fine_enough(spacing_mm, settings.lambda_s_mm / kSamplesPerLambdaS)) {
    return out_of_range(
        "lambda_s " + shortest(settings.lambda_s_mm) + " mm needs a sample spacing of at most " +
        shortest(settings.lambda_s_mm / kSamplesPerLambdaS) + " mm, found " + shortest(spacing_mm) + " mm");
  }
  if (!is_fine_enough(spacing_mm, settings.lambda_c_mm / kSamplesPerLambdaC)) {
    return out_of_range(
        "lambda_c " + shortest(settings.lambda_c_mm) + " mm needs a sample spacing of at most " +
        shortest(settings.lambda_c_mm / kSamplesPerLambdaC) + " mm, found " + shortest(spacing_mm) + " mm");
  }
  return base::Done{};
}

}  // namespace

base::Result<EvaluationLayout> lay_out(const TextureSettings& settings, const TraceShape& trace) {
  if (const auto checked = check_spacing(settings, trace.spacing_mm); !checked) return checked.error();
  const double section_mm = settings.section_length_mm.value_or(settings.lambda_c_mm);
  const double section_samples = std::round(section_mm / trace.spacing_mm);
  if (std::abs(section_samples * trace.spacing_mm - section_mm) > kSectionTolerance * section_mm) {
    return out_of_range("sections of " + shortest(section_mm) + " mm cannot be cut from samples " +
                        shortest(trace.spacing_mm) + " mm apart");
  }
  const double evaluated = section_samples * settings.sections;
  const double half_run_up = std::round(0.5 * settings.lambda_c_mm / trace.spacing_mm);
  if (evaluated + 2.0 * half_run_up > static_cast<double>(trace.sample_count)) {
    const double found_mm = static_cast<double>(trace.sample_count) * trace.spacing_mm;
    return base::Error{base::ErrorCode::kTooShort,
                       std::to_string(settings.sections) + " sections of " + shortest(section_mm) +
                           " mm with half a cut-off before and after need " +
                           shortest(settings.sections * section_mm + settings.lambda_c_mm) +
                           " mm, the trace has " + fixed(found_mm, 3) + " mm"};
  }
  EvaluationLayout layout;
  layout.sections = static_cast<std::size_t>(settings.sections);
  layout.section_samples = static_cast<std::size_t>(section_samples);
  layout.sample_count = layout.sections * layout.section_samples;
  layout.first_sample = (trace.sample_count - layout.sample_count) / 2;
  layout.section_length_mm = section_samples * trace.spacing_mm;
  layout.evaluation_length_mm = evaluated * trace.spacing_mm;
  layout.evaluation_start_mm = static_cast<double>(layout.first_sample) * trace.spacing_mm;
  const std::size_t after = trace.sample_count - layout.sample_count - layout.first_sample;
  layout.full_run_up = static_cast<double>(std::min(layout.first_sample, after)) >=
                       std::floor(settings.lambda_c_mm / trace.spacing_mm * (1.0 + kRounding));
  return layout;
}

}  // namespace crestgate::analysis
