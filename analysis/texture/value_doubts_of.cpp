// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/value_doubts_of.h"

#include <algorithm>
#include <cstddef>

namespace crestgate::analysis {
namespace {

constexpr std::size_t kFewestPeriods = 10;
constexpr double kWavesPerSection = 2.5;  // cut-offs: the waves of W are longer than one
constexpr double kMicrometresPerMm = 1000.0;
constexpr double kRounding = 1e-9;

bool is_mean_line_based(const Parameter& parameter) {
  return parameter.profile == 'R' || parameter.profile == 'W';
}

bool is_of(const Parameter& parameter, FamilySet families) {
  return parameter.of_profile != nullptr && families.has(parameter.of_profile->family);
}

bool is_coarser_than_class(const TextureSettings& settings, double spacing_mm) {
  return settings.most_spacing_um &&
         !is_fine_enough(spacing_mm * kMicrometresPerMm, *settings.most_spacing_um);
}

bool has_short_run_up(const TextureSettings& settings, const EvaluationLayout& layout,
                      const TraceShape& shape) {
  if (!layout.full_run_up) return true;
  if (!settings.lambda_f_mm) return false;
  const std::size_t after = shape.sample_count - layout.first_sample - layout.sample_count;
  const double run_up_mm = static_cast<double>(std::min(layout.first_sample, after)) * shape.spacing_mm;
  return run_up_mm < *settings.lambda_f_mm * (1.0 - kRounding);
}

}  // namespace

DoubtSet doubts_of_settings(const Parameter& parameter, const TextureSettings& settings,
                            const EvaluationLayout& layout, const TraceShape& shape) {
  DoubtSet doubts;
  // lambda_f enters W alone.
  const bool short_run_up = parameter.profile == 'W' ? has_short_run_up(settings, layout, shape)
                                                     : parameter.profile == 'R' && !layout.full_run_up;
  if (short_run_up) doubts |= ValueDoubt::kShortRunUp;
  if (settings.lambda_s_mm == 0.0 &&
      is_of(parameter, {ParameterFamily::kHybrid, ParameterFamily::kFeatures})) {
    doubts |= ValueDoubt::kNoSmoothing;
  }
  const bool linear = settings.filter == FilterKind::kGaussian || settings.filter == FilterKind::kSpline;
  if (linear && parameter.profile == 'R' &&
      is_of(parameter, {ParameterFamily::kCurve, ParameterFamily::kProbability, ParameterFamily::kVolumes})) {
    doubts |= ValueDoubt::kPulledByValleys;
  }
  if (parameter.profile == 'W' && is_of(parameter, {ParameterFamily::kSections}) &&
      layout.section_length_mm < kWavesPerSection * settings.lambda_c_mm) {
    doubts |= ValueDoubt::kShortSections;
  }
  if (parameter.profile != ' ' && is_coarser_than_class(settings, shape.spacing_mm)) {
    doubts |= ValueDoubt::kCoarseSpacing;
  }
  return doubts;
}

DoubtSet doubts_of_gauge(const GaugeConditions& gauge, const TextureSettings& settings) {
  DoubtSet doubts;
  if (gauge.pickup == base::Pickup::kSkidded) doubts |= ValueDoubt::kSkidded;
  const bool has_bound = settings.most_tip_radius_um && gauge.tip_radius_um;
  if (has_bound && *gauge.tip_radius_um > *settings.most_tip_radius_um * (1.0 + kRounding)) {
    doubts |= ValueDoubt::kLargeTip;
  }
  return doubts;
}

TraceDoubts doubts_of_trace(const Workspace& workspace, DoubtSet of_gauge) {
  TraceDoubts found;
  const PreparationReport& preparation = workspace.preparation();
  if (preparation.missing_samples > 0) found.everything_ |= ValueDoubt::kBridged;
  if (preparation.spikes > 0) found.everything_ |= ValueDoubt::kSpikesRemoved;
  if (preparation.spacing_mm != preparation.measured_spacing_mm) found.everything_ |= ValueDoubt::kResampled;
  for (std::uint32_t bit = 0; bit < kValueDoubts; ++bit) {
    const auto doubt = static_cast<ValueDoubt>(1U << bit);
    if (!of_gauge.has(doubt)) continue;
    (doubt == ValueDoubt::kSkidded ? found.beyond_a_skid_ : found.everything_) |= doubt;
  }
  if (!workspace.mean_line().converged) found.mean_line_ |= ValueDoubt::kNotConverged;
  if (workspace.mean_line().starved) found.mean_line_ |= ValueDoubt::kStarved;
  for (std::size_t i = 0; i < workspace.numbers().size(); ++i) {
    const ElementParameters& elements = workspace.numbers()[i].elements;
    // A hill and a dale make a period; elements from hill to hill and from dale to dale overlap.
    if (elements.has_elements && elements.boundary_count < 2 * kFewestPeriods + 1) {
      found.elements_[i] |= ValueDoubt::kFewElements;
    }
  }
  if (!workspace.waves().found) found.waves_ |= ValueDoubt::kHiddenWaves;
  if (workspace.waves().below_drive) found.waves_ |= ValueDoubt::kBelowDrive;
  if (workspace.face().crown_skew_um > 0.0) found.skewed_ |= ValueDoubt::kSkewedTrace;
  return found;
}

DoubtSet TraceDoubts::about(const Parameter& parameter) const {
  DoubtSet doubts = everything_;
  if (is_mean_line_based(parameter)) doubts |= mean_line_;
  if (needs_skidless_pickup(parameter.name.symbol)) doubts |= beyond_a_skid_;
  if (is_of(parameter, {ParameterFamily::kElements})) {
    doubts |= elements_[parameter.profile == 'R' ? 0 : parameter.profile == 'W' ? 1 : 2];
  }
  if (parameter.of_waves != nullptr) doubts |= waves_;
  if (parameter.of_face != nullptr && parameter.of_face->range != nullptr) doubts |= skewed_;
  return doubts;
}

}  // namespace crestgate::analysis
