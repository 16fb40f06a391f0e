// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/profile_chain.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "analysis/face/face_form.h"
#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/filters/mean_line.h"
#include "analysis/morphology/disk_filter.h"
#include "analysis/text/number_text.h"
#include "analysis/waves/drive_waves.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {

struct ProfileChain::Prepared {
  TextureSettings settings;
  TraceShape shape;
  EvaluationLayout layout;
  TracePreparation preparation;
  std::optional<GaussianLowPass> smoothing;
  FormFit form;
  std::optional<RollingDisk> disk;
  MeanLine mean_line;
  std::optional<GaussianLowPass> long_mean_line;  // of lambda_f
  std::optional<WaveSearch> waves;
  std::optional<FaceForm> face;
};

namespace {

constexpr double kLargestHeightUm = 1e12;  // a kilometre
constexpr double kNothing = 1e-12;         // of the largest height

// Moves a part that was asked for out of its result, or says why it cannot be had.
template <class T>
base::Outcome take(base::Result<T> made, std::optional<T>& into) {
  if (!made) return made.error();
  into.emplace(std::move(*made));
  return base::Done{};
}

}  // namespace

ProfileChain::ProfileChain(std::unique_ptr<const Prepared> prepared) : prepared_(std::move(prepared)) {}
ProfileChain::~ProfileChain() = default;
ProfileChain::ProfileChain(ProfileChain&&) noexcept = default;
ProfileChain& ProfileChain::operator=(ProfileChain&&) noexcept = default;

const EvaluationLayout& ProfileChain::layout() const { return prepared_->layout; }
TraceShape ProfileChain::shape() const { return prepared_->shape; }

base::Result<ProfileChain> ProfileChain::prepare(const TextureSettings& settings, const TraceShape& measured,
                                                 ChainWishes wishes) {
  if (const auto checked = check_settings(settings); !checked) return checked.error();
  auto preparation =
      TracePreparation::prepare(settings.preparation, measured.spacing_mm, measured.sample_count);
  if (!preparation) return preparation.error();
  const TraceShape shape{.spacing_mm = preparation->output_spacing_mm(),
                         .sample_count = preparation->output_count()};
  const auto layout = lay_out(settings, shape);
  if (!layout) return layout.error();

  LowPassOptions low_pass{
      .cutoff_mm = settings.lambda_s_mm, .spacing_mm = shape.spacing_mm, .sample_count = shape.sample_count};
  std::optional<GaussianLowPass> smoothing;
  if (settings.lambda_s_mm > 0.0) {
    if (auto made = take(GaussianLowPass::prepare(low_pass), smoothing); !made) return made.error();
  }
  std::optional<GaussianLowPass> long_mean_line;
  const double trace_mm = static_cast<double>(shape.sample_count) * shape.spacing_mm;
  if (settings.lambda_f_mm && *settings.lambda_f_mm > trace_mm) {
    return base::Error{base::ErrorCode::kTooShort, "lambda_f " + shortest(*settings.lambda_f_mm) +
                                                       " mm needs a trace of at least that length, found " +
                                                       fixed(trace_mm, 3) + " mm"};
  }
  if (settings.lambda_f_mm) {
    low_pass.cutoff_mm = *settings.lambda_f_mm;
    low_pass.ends = settings.ends;
    if (auto made = take(GaussianLowPass::prepare(low_pass), long_mean_line); !made) return made.error();
  }
  auto mean_line = MeanLine::prepare({.kind = settings.filter,
                                      .cutoff_mm = settings.lambda_c_mm,
                                      .spacing_mm = shape.spacing_mm,
                                      .sample_count = shape.sample_count,
                                      .ends = settings.ends});
  if (!mean_line) return mean_line.error();
  auto form = FormFit::prepare(settings.form, {.sample_count = shape.sample_count,
                                               .spacing_mm = shape.spacing_mm,
                                               .fit_first = layout->first_sample,
                                               .fit_count = layout->sample_count});
  if (!form) return form.error();
  std::optional<RollingDisk> disk;
  if (settings.disk) {
    auto made = take(RollingDisk::prepare({.radius_mm = settings.disk->radius_mm,
                                           .spacing_mm = shape.spacing_mm,
                                           .sample_count = shape.sample_count}),
                     disk);
    if (!made) return made.error();
  }
  std::optional<WaveSearch> waves;
  if (settings.waves && (wishes.waves || wishes.face)) {
    auto made = take(WaveSearch::prepare({.band = *settings.waves,
                                          .form = form_beside_waves(settings.form),
                                          .spacing_mm = shape.spacing_mm,
                                          .sample_count = shape.sample_count}),
                     waves);
    if (!made) return made.error();
  }
  std::optional<FaceForm> face;
  if (settings.face && wishes.face) {
    auto made = take(
        FaceForm::prepare(
            {.settings = *settings.face, .spacing_mm = shape.spacing_mm, .sample_count = shape.sample_count}),
        face);
    if (!made) return made.error();
  }
  return ProfileChain(
      std::unique_ptr<const Prepared>(new Prepared{.settings = settings,
                                                   .shape = shape,
                                                   .layout = *layout,
                                                   .preparation = std::move(*preparation),
                                                   .smoothing = std::move(smoothing),
                                                   .form = *form,
                                                   .disk = std::move(disk),
                                                   .mean_line = std::move(*mean_line),
                                                   .long_mean_line = std::move(long_mean_line),
                                                   .waves = std::move(waves),
                                                   .face = std::move(face)}));
}

// `raw` holds the prepared heights; leaves the smoothed and the primary profile.
// Errors    kNotFinite: heights whose powers would not be finite.
base::Outcome ProfileChain::check_heights(const Workspace& workspace) {
  const auto too_high = [](double height_um) { return std::abs(height_um) > kLargestHeightUm; };
  const auto bad = std::ranges::find_if(workspace.raw_um_, too_high);
  if (bad == workspace.raw_um_.end()) return base::Done{};
  return base::Error{base::ErrorCode::kNotFinite,
                     "sample " + std::to_string(bad - workspace.raw_um_.begin()) + " is " + shortest(*bad) +
                         " um high; more than " + shortest(kLargestHeightUm) + " um is no surface"};
}

// What rounding leaves of a level trace is level: its shape and lengths would be those of the rounding.
void ProfileChain::level_out(double largest_um, Workspace& workspace) {
  const auto size = [](double height_um) { return std::abs(height_um); };
  if (size(*std::ranges::max_element(workspace.primary_um_, {}, size)) > kNothing * largest_um) return;
  std::ranges::fill(workspace.primary_um_, 0.0);
}

base::Outcome ProfileChain::make_primary(Workspace& workspace) const {
  if (prepared_->smoothing) {
    prepared_->smoothing->apply(workspace.raw_um_, workspace.smoothed_um_, workspace.filter_);
  } else {
    std::ranges::copy(workspace.raw_um_, workspace.smoothed_um_.begin());
  }
  const std::span<double> formless_um = prepared_->disk ? workspace.raw_um_ : workspace.primary_um_;
  auto removed = prepared_->form.remove(workspace.smoothed_um_, formless_um, workspace.form_finding_);
  if (!removed || !prepared_->disk) return removed;
  if (prepared_->settings.disk->kind == DiskFilter::Kind::kClosing) {
    prepared_->disk->close(workspace.raw_um_, workspace.primary_um_, workspace.disk_);
  } else {
    prepared_->disk->open(workspace.raw_um_, workspace.primary_um_, workspace.disk_);
  }
  return base::Done{};
}

void ProfileChain::split(Workspace& workspace) const {
  const std::size_t n = workspace.primary_um_.size();
  workspace.mean_line_ =
      prepared_->mean_line.apply(workspace.primary_um_, workspace.waviness_um_, workspace.filter_);
  for (std::size_t i = 0; i < n; ++i) {
    workspace.roughness_um_[i] = workspace.primary_um_[i] - workspace.waviness_um_[i];
  }
  if (!prepared_->long_mean_line) return;
  prepared_->long_mean_line->apply(workspace.waviness_um_, workspace.raw_um_, workspace.filter_);
  for (std::size_t i = 0; i < n; ++i) workspace.waviness_um_[i] -= workspace.raw_um_[i];
}

base::Outcome ProfileChain::look_at_face(Workspace& workspace) const {
  workspace.finding_ = {};
  workspace.face_finding_ = {};
  workspace.waves_.wave_um.clear();
  if (prepared_->waves) {
    auto found = prepared_->waves->find(workspace.smoothed_um_, workspace.waves_);
    if (!found) return found.error();
    workspace.finding_ = *found;
    hold_against_drive({.drive_um = prepared_->settings.waves->drive_um}, workspace.finding_);
  }
  if (prepared_->face) {
    workspace.face_finding_ =
        prepared_->face->measure(workspace.smoothed_um_, workspace.finding_.components(), workspace.face_);
  }
  return base::Done{};
}

base::Outcome ProfileChain::run(std::span<const double> heights_um, Workspace& workspace) const {
  for (std::vector<double>* profile : {&workspace.raw_um_, &workspace.smoothed_um_, &workspace.primary_um_,
                                       &workspace.waviness_um_, &workspace.roughness_um_}) {
    profile->resize(prepared_->shape.sample_count);
  }
  auto whole = prepared_->preparation.run(heights_um, workspace.preparation_, workspace.raw_um_,
                                          workspace.preparation_report_);
  if (!whole) return whole;
  if (auto checked = check_heights(workspace); !checked) return checked;
  const auto size = [](double height_um) { return std::abs(height_um); };
  const double largest_um = size(*std::ranges::max_element(workspace.raw_um_, {}, size));
  if (auto made = make_primary(workspace); !made) return made;
  level_out(largest_um, workspace);
  split(workspace);
  return look_at_face(workspace);
}

}  // namespace crestgate::analysis
