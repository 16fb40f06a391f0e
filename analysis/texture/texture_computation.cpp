// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/texture_computation.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <utility>

#include "analysis/texture/core_roughness.h"
#include "analysis/texture/height_parameters.h"
#include "analysis/texture/section_parameters.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kPercent = 100.0;
constexpr double kAreaPerMm = 1000.0;  // um with the ratio as a fraction -> um^2 per mm

// Writes values one after the other, in the order of parameter_names.
class ValueWriter {
 public:
  explicit ValueWriter(std::span<ParameterValue> values) : values_(values) {}
  void put(double value) { put_if(true, value); }
  void put_if(bool defined, double value) {
    CRESTGATE_EXPECTS(next_ < values_.size());
    values_[next_++] = {.value = defined ? value : 0.0, .defined = defined};
  }
  [[nodiscard]] bool is_full() const { return next_ == values_.size(); }

 private:
  std::span<ParameterValue> values_;
  std::size_t next_ = 0;
};

void put_curve_parameters(const TextureSettings& settings, const MaterialRatioCurve& curve,
                          ValueWriter& writer) {
  const CoreRoughness core = core_roughness(curve);
  writer.put(core.core_um);
  writer.put(core.reduced_peak_um);
  writer.put(core.reduced_valley_um);
  writer.put(kPercent * core.upper_ratio);
  writer.put(kPercent * core.lower_ratio);
  writer.put(kAreaPerMm * core.peak_area_um);
  writer.put(kAreaPerMm * core.valley_area_um);
  writer.put(core.peak_beyond_um);
  writer.put(core.valley_beyond_um);
  for (const double height_um : settings.material_ratio_heights_um) {
    writer.put(kPercent * curve.ratio_at(height_um));
  }
  for (const MaterialRatioAt& at : settings.material_ratios) {
    writer.put(kPercent * curve.ratio_at(curve.height_at(at.reference_percent / kPercent) - at.depth_um));
  }
  for (const double percent : settings.material_ratio_percents)
    writer.put(curve.height_at(percent / kPercent));
  for (const HeightDifferenceBetween& between : settings.height_differences) {
    writer.put(curve.height_at(between.upper_percent / kPercent) -
               curve.height_at(between.lower_percent / kPercent));
  }
}

void put_plain_heights(std::span<const double> heights_um, ValueWriter& writer) {
  const HeightParameters heights = height_parameters(heights_um);
  writer.put(heights.arithmetic_mean_um);
  writer.put(heights.root_mean_square_um);
  writer.put(heights.highest_um - heights.lowest_um);
}

}  // namespace

struct TextureComputation::Prepared {
  TextureSettings settings;
  std::vector<ParameterName> names;
  EvaluationLayout layout;
  std::size_t sample_count = 0;
  std::optional<GaussianLowPass> smoothing;
  FormFit form;
  GaussianLowPass mean_line;
  std::optional<WaveSearch> waves;
};

TextureComputation::TextureComputation(std::unique_ptr<const Prepared> prepared)
    : prepared_(std::move(prepared)) {}
TextureComputation::~TextureComputation() = default;
TextureComputation::TextureComputation(TextureComputation&&) noexcept = default;
TextureComputation& TextureComputation::operator=(TextureComputation&&) noexcept = default;

std::span<const ParameterName> TextureComputation::names() const { return prepared_->names; }
const EvaluationLayout& TextureComputation::layout() const { return prepared_->layout; }
const TextureSettings& TextureComputation::settings() const { return prepared_->settings; }
std::size_t TextureComputation::sample_count() const { return prepared_->sample_count; }

base::Result<TextureComputation> TextureComputation::prepare(const TextureSettings& settings,
                                                             double spacing_mm, std::size_t sample_count) {
  if (const auto checked = check_settings(settings); !checked) return checked.error();
  const auto layout = lay_out(settings, {.spacing_mm = spacing_mm, .sample_count = sample_count});
  if (!layout) return layout.error();

  std::optional<GaussianLowPass> smoothing;
  LowPassOptions filter{.cutoff_mm = settings.lambda_s_mm,
                        .spacing_mm = spacing_mm,
                        .sample_count = sample_count,
                        .ends = settings.ends};
  if (settings.lambda_s_mm > 0.0) {
    auto prepared = GaussianLowPass::prepare(filter);
    if (!prepared) return prepared.error();
    smoothing.emplace(std::move(*prepared));
  }
  filter.cutoff_mm = settings.lambda_c_mm;
  auto mean_line = GaussianLowPass::prepare(filter);
  if (!mean_line) return mean_line.error();

  auto form = FormFit::prepare(settings.form, {.sample_count = sample_count,
                                               .spacing_mm = spacing_mm,
                                               .fit_first = layout->first_sample,
                                               .fit_count = layout->sample_count});
  if (!form) return form.error();

  std::optional<WaveSearch> waves;
  if (settings.waves) {
    auto search = WaveSearch::prepare({.band = *settings.waves,
                                       .form = settings.form,
                                       .spacing_mm = spacing_mm,
                                       .sample_count = sample_count});
    if (!search) return search.error();
    waves.emplace(std::move(*search));
  }
  return TextureComputation(std::unique_ptr<const Prepared>(new Prepared{.settings = settings,
                                                                         .names = parameter_names(settings),
                                                                         .layout = *layout,
                                                                         .sample_count = sample_count,
                                                                         .smoothing = std::move(smoothing),
                                                                         .form = *form,
                                                                         .mean_line = std::move(*mean_line),
                                                                         .waves = std::move(waves)}));
}

base::Outcome TextureComputation::make_profiles(std::span<const double> heights_um,
                                                Workspace& workspace) const {
  const std::size_t n = heights_um.size();
  workspace.smoothed_um_.resize(n);
  workspace.primary_um_.resize(n);
  workspace.waviness_um_.resize(n);
  workspace.roughness_um_.resize(n);
  if (prepared_->smoothing) {
    prepared_->smoothing->apply(heights_um, workspace.smoothed_um_, workspace.filter_);
  } else {
    std::ranges::copy(heights_um, workspace.smoothed_um_.begin());
  }
  if (auto removed = prepared_->form.remove(workspace.smoothed_um_, workspace.primary_um_); !removed) {
    return removed;
  }
  prepared_->mean_line.apply(workspace.primary_um_, workspace.waviness_um_, workspace.filter_);
  for (std::size_t i = 0; i < n; ++i) {
    workspace.roughness_um_[i] = workspace.primary_um_[i] - workspace.waviness_um_[i];
  }
  workspace.finding_ = {};
  workspace.waves_.wave_um.clear();
  if (prepared_->waves) {
    const auto found = prepared_->waves->find(workspace.smoothed_um_, workspace.waves_);
    if (!found) return found.error();
    workspace.finding_ = *found;
  }
  return base::Done{};
}

void TextureComputation::evaluate(Workspace& workspace, std::span<ParameterValue> values) const {
  const EvaluationLayout& layout = prepared_->layout;
  const auto evaluated = [&layout](std::span<const double> profile_um) {
    return profile_um.subspan(layout.first_sample, layout.sample_count);
  };
  ValueWriter writer(values);
  const std::span<const double> roughness_um = evaluated(workspace.roughness_um_);
  const HeightParameters heights = height_parameters(roughness_um);
  writer.put(heights.arithmetic_mean_um);
  writer.put(heights.root_mean_square_um);
  writer.put_if(heights.has_shape, heights.skewness);
  writer.put_if(heights.has_shape, heights.kurtosis);
  writer.put(heights.highest_um);
  writer.put(-heights.lowest_um);
  writer.put(heights.highest_um - heights.lowest_um);
  const SectionParameters sections = section_parameters(roughness_um, layout.sections);
  writer.put(sections.mean_peak_um);
  writer.put(sections.mean_pit_um);
  writer.put(sections.mean_height_um);
  writer.put(sections.largest_height_um);

  workspace.falling_um_.resize(layout.sample_count);
  sort_falling(roughness_um, workspace.falling_um_, workspace.sort_);
  put_curve_parameters(prepared_->settings, MaterialRatioCurve(workspace.falling_um_), writer);

  put_plain_heights(evaluated(workspace.waviness_um_), writer);
  put_plain_heights(evaluated(workspace.primary_um_), writer);
  if (prepared_->waves) {
    writer.put(workspace.finding_.count);
    writer.put_if(workspace.finding_.found, workspace.finding_.spacing_mm);
    writer.put(workspace.finding_.height_um);
  }
  CRESTGATE_EXPECTS(writer.is_full());
}

base::Outcome TextureComputation::run(std::span<const double> heights_um, Workspace& workspace,
                                      std::span<ParameterValue> values) const {
  CRESTGATE_EXPECTS(heights_um.size() == prepared_->sample_count && values.size() == prepared_->names.size());
  const auto is_finite = [](double height_um) { return std::isfinite(height_um); };
  if (const auto bad = std::ranges::find_if_not(heights_um, is_finite); bad != heights_um.end()) {
    return base::Error{base::ErrorCode::kNotFinite,
                       "the height of sample " + std::to_string(bad - heights_um.begin()) + " is not finite"};
  }
  if (auto made = make_profiles(heights_um, workspace); !made) return made;
  evaluate(workspace, values);
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (values[i].defined && !std::isfinite(values[i].value)) {
      return base::Error{base::ErrorCode::kNotFinite, prepared_->names[i].symbol + " is not finite"};
    }
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
