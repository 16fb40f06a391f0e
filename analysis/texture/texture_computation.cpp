// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/texture_computation.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <utility>

#include "analysis/texture/material_ratio_curve.h"
#include "analysis/texture/parameter_list.h"
#include "analysis/texture/profile_chain.h"
#include "analysis/texture/value_doubts_of.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kPercent = 100.0;
constexpr std::string_view kProfiles = "RWP";

std::size_t index_of(char profile) { return kProfiles.find(profile); }

// Families that have to be computed for the parameters of one profile.
FamilySet families_of(std::span<const Parameter> parameters, char profile) {
  FamilySet families;
  for (const Parameter& parameter : parameters) {
    if (parameter.profile != profile) continue;
    families.add(parameter.of_profile != nullptr ? parameter.of_profile->family : ParameterFamily::kCurve);
  }
  return families;
}

std::optional<double> read_ratio(const RatioSymbol& ratio, std::span<const double> falling_um) {
  const MaterialRatioCurve curve(falling_um);
  switch (ratio.family) {
    case RatioFamily::kRatioAtHeight:
      return kPercent * curve.ratio_at(ratio.first);
    case RatioFamily::kRatioAtDepth:
      return kPercent * curve.ratio_at(curve.height_at(ratio.first / kPercent) - ratio.second);
    case RatioFamily::kHeightAtRatio:
      return curve.height_at(ratio.first / kPercent);
    case RatioFamily::kHeightBetweenRatios:
      return curve.height_at(ratio.first / kPercent) - curve.height_at(ratio.second / kPercent);
  }
  return std::nullopt;
}

double section_value(const SectionExtremes& section, SectionValue which) {
  switch (which) {
    case SectionValue::kPeak:
      return section.peak_um;
    case SectionValue::kPit:
      return section.pit_um;
    default:
      return section.height_um();
  }
}

}  // namespace

struct TextureComputation::Prepared {
  TextureSettings settings;
  std::vector<Parameter> parameters;
  std::vector<ParameterName> names;
  std::vector<DoubtSet> doubts;                  // that settings and shape alone give, one per parameter
  std::vector<std::optional<std::size_t>> rows;  // of Workspace::section_values_, one per parameter
  std::size_t row_count = 0;
  std::size_t sample_count = 0;
  ProfileChain chain;
  std::array<FamilySet, kProfiles.size()> families;  // that R, W and P are asked for
  std::optional<ProfileAnalysis> analysis;           // of all of them; absent: none are asked for
};

TextureComputation::TextureComputation(std::unique_ptr<const Prepared> prepared)
    : prepared_(std::move(prepared)) {}
TextureComputation::~TextureComputation() = default;
TextureComputation::TextureComputation(TextureComputation&&) noexcept = default;
TextureComputation& TextureComputation::operator=(TextureComputation&&) noexcept = default;

std::span<const ParameterName> TextureComputation::names() const { return prepared_->names; }
const EvaluationLayout& TextureComputation::layout() const { return prepared_->chain.layout(); }
const TextureSettings& TextureComputation::settings() const { return prepared_->settings; }
std::size_t TextureComputation::sample_count() const { return prepared_->sample_count; }
double TextureComputation::spacing_mm() const { return prepared_->chain.shape().spacing_mm; }
std::size_t TextureComputation::prepared_count() const { return prepared_->chain.shape().sample_count; }

base::Result<TextureComputation> TextureComputation::prepare(const TextureSettings& settings,
                                                             double spacing_mm, std::size_t sample_count,
                                                             std::span<const std::string> only) {
  std::vector<Parameter> parameters = parameter_list(settings);
  if (!only.empty()) {
    std::erase_if(parameters, [only](const Parameter& parameter) {
      return std::ranges::find(only, parameter.name.symbol) == only.end();
    });
  }
  const auto any = [&parameters](auto wanted) { return std::ranges::any_of(parameters, wanted); };
  auto chain = ProfileChain::prepare(settings, {.spacing_mm = spacing_mm, .sample_count = sample_count},
                                     {.waves = any([](const Parameter& p) { return p.of_waves != nullptr; }),
                                      .face = any([](const Parameter& p) { return p.of_face != nullptr; })});
  if (!chain) return chain.error();

  auto prepared = std::unique_ptr<Prepared>(new Prepared{.settings = settings,
                                                         .parameters = std::move(parameters),
                                                         .names = {},
                                                         .doubts = {},
                                                         .rows = {},
                                                         .sample_count = sample_count,
                                                         .chain = std::move(*chain),
                                                         .families = {},
                                                         .analysis = std::nullopt});
  const EvaluationLayout& layout = prepared->chain.layout();
  for (const Parameter& parameter : prepared->parameters) {
    prepared->names.push_back(parameter.name);
    prepared->doubts.push_back(doubts_of_settings(parameter, settings, layout, prepared->chain.shape()));
    const bool in_sections =
        parameter.of_profile != nullptr && parameter.of_profile->section != SectionValue::kNone;
    prepared->rows.push_back(in_sections ? std::optional(prepared->row_count++) : std::nullopt);
  }
  FamilySet every;
  for (const char profile : kProfiles) {
    prepared->families[index_of(profile)] = families_of(prepared->parameters, profile);
    every = every | prepared->families[index_of(profile)];
  }
  if (!every.is_empty()) {
    auto analysis = ProfileAnalysis::prepare({.spacing_mm = prepared->chain.shape().spacing_mm,
                                              .sample_count = prepared->chain.shape().sample_count,
                                              .first_sample = layout.first_sample,
                                              .evaluated_samples = layout.sample_count,
                                              .sections = layout.sections,
                                              .elements = settings.elements,
                                              .pruning_percent = settings.pruning_percent,
                                              .curvature_half_width_mm = settings.lambda_s_mm,
                                              .families = every});
    if (!analysis) return analysis.error();
    prepared->analysis.emplace(std::move(*analysis));
  }
  return TextureComputation(std::move(prepared));
}

void TextureComputation::evaluate(Workspace& workspace, std::span<ParameterValue> values,
                                  DoubtSet of_gauge) const {
  const std::array<std::span<const double>, kProfiles.size()> profiles = {
      workspace.roughness_um(), workspace.waviness_um(), workspace.primary_um()};
  for (std::size_t i = 0; i < kProfiles.size(); ++i) {
    if (prepared_->families[i].is_empty()) continue;
    prepared_->analysis->run(profiles[i], prepared_->families[i], workspace.analyses_[i],
                             workspace.numbers_[i]);
  }
  const std::size_t sections = layout().sections;
  workspace.section_values_.resize(prepared_->row_count * sections);
  const TraceDoubts trace_doubts = doubts_of_trace(workspace, of_gauge);
  for (std::size_t index = 0; index < values.size(); ++index) {
    const Parameter& parameter = prepared_->parameters[index];
    const std::size_t profile = index_of(parameter.profile);
    std::optional<double> value;
    std::optional<ValueRange> range;
    if (parameter.of_profile != nullptr) {
      value = parameter.of_profile->read(workspace.numbers_[profile]);
    } else if (parameter.ratio) {
      value = read_ratio(*parameter.ratio, workspace.analyses_[profile].falling_um());
    } else if (parameter.of_waves != nullptr) {
      value = parameter.of_waves->read(workspace.finding_);
      if (parameter.of_waves->range != nullptr) range = parameter.of_waves->range(workspace.finding_);
    } else {
      value = parameter.of_face->read(workspace.face_finding_);
      if (parameter.of_face->range != nullptr) range = parameter.of_face->range(workspace.face_finding_);
    }
    const double number = value.value_or(0.0);
    values[index] = {.value = number,
                     .defined = value.has_value(),
                     .doubts = prepared_->doubts[index] | trace_doubts.about(parameter),
                     .least = range ? range->least : number,
                     .most = range ? range->most : number};
    if (prepared_->rows[index]) {
      const std::span<double> row =
          std::span(workspace.section_values_).subspan(*prepared_->rows[index] * sections, sections);
      const auto extremes = workspace.analyses_[profile].sections();
      for (std::size_t k = 0; k < sections; ++k) {
        row[k] = section_value(extremes[k], parameter.of_profile->section);
      }
    }
  }
}

std::span<const double> TextureComputation::section_values(std::size_t index,
                                                           const Workspace& workspace) const {
  CRESTGATE_EXPECTS(index < prepared_->rows.size());
  if (!prepared_->rows[index]) return {};
  const std::size_t sections = layout().sections;
  return std::span(workspace.section_values_).subspan(*prepared_->rows[index] * sections, sections);
}

base::Outcome TextureComputation::run(std::span<const double> heights_um, Workspace& workspace,
                                      std::span<ParameterValue> values, DoubtSet of_gauge) const {
  CRESTGATE_EXPECTS(heights_um.size() == prepared_->sample_count && values.size() == prepared_->names.size());
  if (auto made = prepared_->chain.run(heights_um, workspace); !made) return made;
  evaluate(workspace, values, of_gauge);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (values[i].defined && !std::isfinite(values[i].value)) {
      return base::Error{base::ErrorCode::kNotFinite, prepared_->names[i].symbol + " is not finite"};
    }
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
