// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/profile_analysis.h"

#include <cmath>
#include <optional>
#include <string>
#include <utility>

#include "analysis/text/number_text.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

using enum ParameterFamily;

constexpr double kPercent = 100.0;
constexpr std::size_t kFewestSamples = 2 * kGradientReach + 1;

constexpr FamilySet kOverSections = {kElements, kFeatures};
constexpr FamilySet kOverCurve = {kCurve, kProbability, kVolumes};

// With what the families rest on.
FamilySet completed(FamilySet wanted) {
  if (wanted.has_any_of(kOverSections)) wanted.add(kSections);
  if (wanted.has_any_of(kOverCurve)) wanted.add(kCurve);
  return wanted;
}

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

bool is_positive(double value) { return std::isfinite(value) && value > 0.0; }

// A threshold of more than the whole Rz would let nothing through.
bool is_percentage(double value) { return value >= 0.0 && value <= kPercent; }

base::Outcome check_layout(const ProfileAnalysisOptions& options) {
  if (!is_positive(options.spacing_mm)) {
    return base::Error{
        base::ErrorCode::kOutOfRange,
        "the sample spacing must be a positive number of mm, found " + shortest(options.spacing_mm)};
  }
  if (options.first_sample > options.sample_count ||
      options.evaluated_samples > options.sample_count - options.first_sample) {
    return invalid("the evaluation length of " + std::to_string(options.evaluated_samples) +
                   " samples from sample " + std::to_string(options.first_sample) +
                   " must lie within the trace of " + std::to_string(options.sample_count) + " samples");
  }
  if (options.evaluated_samples < kFewestSamples) {
    return invalid("an evaluation length must have at least " + std::to_string(kFewestSamples) +
                   " samples, found " + std::to_string(options.evaluated_samples));
  }
  if (options.sections == 0 || options.evaluated_samples % options.sections != 0) {
    return invalid("the evaluation length of " + std::to_string(options.evaluated_samples) +
                   " samples cannot be cut into " + std::to_string(options.sections) + " equal sections");
  }
  return base::Done{};
}

base::Outcome check_thresholds(const ProfileAnalysisOptions& options) {
  if (!is_percentage(options.elements.hill_percent) || !is_percentage(options.elements.dale_percent)) {
    return invalid("the thresholds of profile elements must be 0 to 100 % of Rz, found " +
                   shortest(options.elements.hill_percent) + " % and " +
                   shortest(options.elements.dale_percent) + " %");
  }
  if (!is_percentage(options.pruning_percent) || !(options.pruning_percent > 0.0)) {
    return invalid("the pruning of peaks and pits must be more than 0 and at most 100 % of Rz, found " +
                   shortest(options.pruning_percent) + " %");
  }
  const double length_mm = static_cast<double>(options.evaluated_samples) * options.spacing_mm;
  if (!(options.curvature_half_width_mm >= 0.0 && options.curvature_half_width_mm <= length_mm)) {
    return invalid("the half width of the curvature's window must be 0 (none) to the evaluation length of " +
                   shortest(length_mm) + " mm, found " + shortest(options.curvature_half_width_mm) + " mm");
  }
  return base::Done{};
}

}  // namespace

struct ProfileAnalysis::Prepared {
  ProfileAnalysisOptions options;
  std::optional<SpatialAnalysis> spatial;
  std::optional<ProbabilityAnalysis> probability;
};

ProfileAnalysis::ProfileAnalysis(std::unique_ptr<const Prepared> prepared) : prepared_(std::move(prepared)) {}
ProfileAnalysis::~ProfileAnalysis() = default;
ProfileAnalysis::ProfileAnalysis(ProfileAnalysis&&) noexcept = default;
ProfileAnalysis& ProfileAnalysis::operator=(ProfileAnalysis&&) noexcept = default;

const ProfileAnalysisOptions& ProfileAnalysis::options() const { return prepared_->options; }

base::Result<ProfileAnalysis> ProfileAnalysis::prepare(const ProfileAnalysisOptions& options) {
  if (const auto checked = check_layout(options); !checked) return checked.error();
  if (const auto checked = check_thresholds(options); !checked) return checked.error();
  auto prepared = std::make_unique<Prepared>();
  prepared->options = options;
  if (options.families.has(kSpatial)) {
    prepared->spatial.emplace(options.evaluated_samples, options.spacing_mm);
  }
  if (options.families.has(kProbability)) prepared->probability.emplace(options.evaluated_samples);
  return ProfileAnalysis(std::move(prepared));
}

void ProfileAnalysis::run_over_sections(const EvaluatedProfile& profile, ProfileWorkspace& workspace,
                                        ProfileNumbers& numbers) const {
  const ProfileAnalysisOptions& options = prepared_->options;
  workspace.sections_.resize(options.sections);
  find_section_extremes(profile.heights_um(), workspace.sections_);
  numbers.sections = section_parameters(workspace.sections_);
  const double one_percent_um = numbers.sections.mean_height_um / kPercent;
  if (numbers.computed.has(kElements)) {
    numbers.elements = profile_elements(profile.heights_um(),
                                        {.spacing_mm = options.spacing_mm,
                                         .hill_um = options.elements.hill_percent * one_percent_um,
                                         .dale_um = options.elements.dale_percent * one_percent_um},
                                        workspace.elements_);
  }
  if (numbers.computed.has(kFeatures)) {
    numbers.features = feature_parameters(profile,
                                          {.prominence_um = options.pruning_percent * one_percent_um,
                                           .curvature_half_width_mm = options.curvature_half_width_mm},
                                          workspace.features_);
  }
}

void ProfileAnalysis::run_over_curve(std::span<const double> heights_um, ProfileWorkspace& workspace,
                                     ProfileNumbers& numbers) const {
  workspace.falling_um_.resize(heights_um.size());
  sort_falling(heights_um, workspace.falling_um_, workspace.sort_);
  const MaterialRatioCurve curve(workspace.falling_um_);
  numbers.core = core_roughness(curve);
  if (numbers.computed.has(kProbability))
    numbers.probability = prepared_->probability->run(workspace.falling_um_);
  if (numbers.computed.has(kVolumes)) numbers.volumes = volume_parameters(curve);
}

void ProfileAnalysis::run(std::span<const double> whole_profile_um, ProfileWorkspace& workspace,
                          ProfileNumbers& numbers) const {
  run(whole_profile_um, prepared_->options.families, workspace, numbers);
}

void ProfileAnalysis::run(std::span<const double> whole_profile_um, FamilySet families,
                          ProfileWorkspace& workspace, ProfileNumbers& numbers) const {
  const ProfileAnalysisOptions& options = prepared_->options;
  CRESTGATE_EXPECTS(whole_profile_um.size() == options.sample_count && options.families.has_all_of(families));
  const EvaluatedProfile profile{.whole_um = whole_profile_um,
                                 .first_sample = options.first_sample,
                                 .sample_count = options.evaluated_samples,
                                 .spacing_mm = options.spacing_mm};
  numbers = {};
  numbers.computed = completed(families);
  workspace.falling_um_.clear();
  workspace.sections_.clear();
  workspace.features_.clear();
  if (numbers.computed.has(kHeights)) numbers.heights = height_parameters(profile.heights_um());
  if (numbers.computed.has(kSections)) run_over_sections(profile, workspace, numbers);
  if (numbers.computed.has(kSpatial)) {
    numbers.spatial = prepared_->spatial->run(profile.heights_um(), workspace.spatial_);
  }
  if (numbers.computed.has(kHybrid)) numbers.hybrid = hybrid_parameters(profile);
  if (numbers.computed.has(kCurve)) run_over_curve(profile.heights_um(), workspace, numbers);
}

}  // namespace crestgate::analysis
