// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/face_form.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "analysis/face/askew.h"
#include "analysis/statistics/moments.h"
#include "analysis/text/number_text.h"
#include "analysis/waves/wave_set.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kPointsPerSmoothing = 16.0;
constexpr std::size_t kLeastEdgePoints = 8;  // for a median
constexpr double kLeastSamples = 4.0;        // on the spot smoothing
constexpr double kMostEdge = 0.25;           // of the face: the form must not be continued too far
constexpr double kLeastPointsPerWave = 4.0;
constexpr int kParabola = 2;
constexpr std::size_t kLeastPoints = 64;  // on the inner face, for a form and up to eight waves

base::Error error(base::ErrorCode code, std::string detail) { return {code, std::move(detail)}; }

bool is_positive(double value) { return value > 0.0 && std::isfinite(value); }

base::Outcome check(const FaceFormSettings& settings) {
  if (!(settings.start_mm >= 0.0) || !std::isfinite(settings.start_mm)) {
    return error(base::ErrorCode::kInvalidConfig,
                 "the face must start at 0 mm or later, found " + shortest(settings.start_mm) + " mm");
  }
  if (settings.end_mm && !(*settings.end_mm > settings.start_mm && std::isfinite(*settings.end_mm))) {
    return error(base::ErrorCode::kInvalidConfig, "the face must end after its start at " +
                                                      shortest(settings.start_mm) + " mm, found " +
                                                      shortest(*settings.end_mm) + " mm");
  }
  if (!(settings.edge_mm >= 0.0) || !std::isfinite(settings.edge_mm)) {
    return error(base::ErrorCode::kInvalidConfig, "the edge length must be 0 (no edges) or positive, found " +
                                                      shortest(settings.edge_mm) + " mm");
  }
  if (!is_positive(settings.spot_smoothing_mm)) {
    return error(base::ErrorCode::kInvalidConfig,
                 "the smoothing for the highest spot must be a positive number of mm, found " +
                     shortest(settings.spot_smoothing_mm));
  }
  if (settings.skew && !(is_positive(settings.skew->radius_mm) && settings.skew->most_degrees >= 0.0 &&
                         settings.skew->most_degrees < 90.0)) {
    return error(base::ErrorCode::kInvalidConfig,
                 "skew wants a positive radius and 0 to below 90 degrees, found " +
                     shortest(settings.skew->radius_mm) + " mm and " + shortest(settings.skew->most_degrees) +
                     " degrees");
  }
  return base::Done{};
}

// Adds a cos + b sin at points counted from `origin`.
void add_sinusoid(const Sinusoid& wave, std::size_t origin, std::span<double> wave_um) {
  const double step = 2.0 * std::numbers::pi * wave.frequency;
  const double turn_cosine = std::cos(step);
  const double turn_sine = std::sin(step);
  double c = std::cos(step * static_cast<double>(origin));
  double s = -std::sin(step * static_cast<double>(origin));
  for (double& height_um : wave_um) {
    height_um += wave.cosine * c + wave.sine * s;
    const double next = c * turn_cosine - s * turn_sine;
    s = s * turn_cosine + c * turn_sine;
    c = next;
  }
}

}  // namespace

base::Outcome FaceForm::lay_out() {
  const FaceFormSettings& settings = options_.settings;
  const double trace_mm = static_cast<double>(options_.sample_count) * options_.spacing_mm;
  const double end_mm = settings.end_mm.value_or(trace_mm);
  const auto first = static_cast<std::size_t>(std::round(settings.start_mm / options_.spacing_mm));
  const auto end = static_cast<std::size_t>(std::round(end_mm / options_.spacing_mm));
  if (first >= options_.sample_count || end > options_.sample_count + 1) {
    return error(base::ErrorCode::kTooShort, "the face from " + shortest(settings.start_mm) + " to " +
                                                 shortest(end_mm) + " mm lies beyond the trace of " +
                                                 fixed(trace_mm, 3) + " mm");
  }
  const double wanted = settings.spot_smoothing_mm / kPointsPerSmoothing / options_.spacing_mm;
  group_ = std::max<std::size_t>(1, static_cast<std::size_t>(std::floor(wanted * (1.0 + 1e-9))));
  point_mm_ = static_cast<double>(group_) * options_.spacing_mm;
  const std::size_t count = std::max(first, std::min(end, options_.sample_count)) - first;
  length_mm_ = static_cast<double>(count) * options_.spacing_mm;
  point_count_ = count / group_;
  first_sample_ = first + (count % group_) / 2;
  middle_mm_ = count % group_ % 2 == 1 ? 0.5 * options_.spacing_mm : 0.0;
  edge_count_ = static_cast<std::size_t>(std::round(settings.edge_mm / point_mm_));
  return base::Done{};
}

base::Outcome FaceForm::check_layout() const {
  const double edge_mm = options_.settings.edge_mm;
  if (options_.settings.spot_smoothing_mm < kLeastSamples * options_.spacing_mm) {
    return error(base::ErrorCode::kOutOfRange, "the smoothing for the highest spot must hold at least " +
                                                   fixed(kLeastSamples, 0) + " samples of " +
                                                   shortest(options_.spacing_mm) + " mm, found " +
                                                   shortest(options_.settings.spot_smoothing_mm) + " mm");
  }
  if (edge_mm > 0.0 && edge_count_ < kLeastEdgePoints) {
    return error(base::ErrorCode::kOutOfRange,
                 "an edge must be at least " + shortest(static_cast<double>(kLeastEdgePoints) * point_mm_) +
                     " mm long, " + std::to_string(kLeastEdgePoints) +
                     " sixteenths of the spot smoothing, found " + shortest(edge_mm) + " mm");
  }
  if (static_cast<double>(edge_count_) > kMostEdge * static_cast<double>(point_count_)) {
    return error(base::ErrorCode::kTooShort, "an edge may take a quarter of the face of " +
                                                 fixed(length_mm_, 3) + " mm, found " + shortest(edge_mm) +
                                                 " mm");
  }
  if (inner_count() < kLeastPoints) {
    return error(base::ErrorCode::kTooShort,
                 "the face between its edges must be at least " +
                     shortest(static_cast<double>(kLeastPoints) * point_mm_) + " mm long, " +
                     std::to_string(kLeastPoints) + " sixteenths of the spot smoothing, found " +
                     fixed(static_cast<double>(inner_count()) * point_mm_, 3) + " mm");
  }
  return base::Done{};
}

base::Result<FaceForm> FaceForm::prepare(const FaceFormOptions& options) {
  const FaceFormSettings& settings = options.settings;
  CRESTGATE_EXPECTS(options.spacing_mm > 0.0 && options.sample_count > 0);
  if (const auto checked = check(settings); !checked) return checked.error();
  FaceForm face(options);
  if (const auto laid_out = face.lay_out(); !laid_out) return laid_out.error();
  if (const auto checked = face.check_layout(); !checked) return checked.error();
  auto smoothing = GaussianLowPass::prepare({.cutoff_mm = settings.spot_smoothing_mm,
                                             .spacing_mm = face.point_mm_,
                                             .sample_count = face.point_count_,
                                             .ends = EndRule::kRenormalised});
  if (!smoothing) return smoothing.error();
  face.smoothing_.emplace(std::move(*smoothing));
  face.form_columns_ = orthonormal_form_columns(face.inner_count(), kParabola);
  face.parabola_ = OrthogonalPolynomials(face.inner_count(), kParabola);
  if (settings.skew) {
    face.crown_skew_um_ = askew_crown_um({.length_mm = face.length_mm_,
                                          .radius_mm = settings.skew->radius_mm,
                                          .skew_degrees = settings.skew->most_degrees});
  }
  return face;
}

void FaceForm::make_points(std::span<const double> heights_um, FaceWorkspace& workspace) const {
  workspace.points_um.resize(point_count_);
  for (std::size_t p = 0; p < point_count_; ++p) {
    double sum = 0.0;
    for (std::size_t k = 0; k < group_; ++k) sum += heights_um[first_sample_ + p * group_ + k];
    workspace.points_um[p] = sum / static_cast<double>(group_);
  }
}

void FaceForm::fit_waves(std::span<const WaveComponent> waves, FaceWorkspace& workspace) const {
  const std::size_t inner = inner_count();
  workspace.wave_um.assign(point_count_, 0.0);
  workspace.residual.resize(inner);
  workspace.columns.resize(2 * WaveSet::kMaxWaves * inner);
  workspace.clean.resize(inner);
  std::ranges::copy(std::span(workspace.points_um).subspan(edge_count_, inner), workspace.clean.begin());
  remove_form(form_columns_, workspace.clean);
  WaveSet set(form_columns_, workspace.residual, workspace.columns);
  set.restart(workspace.clean);
  const double inner_mm = static_cast<double>(inner) * point_mm_;
  for (const WaveComponent& wave : waves) {
    if (set.size() == WaveSet::kMaxWaves) break;
    if (wave.spacing_mm > inner_mm || wave.spacing_mm < kLeastPointsPerWave * point_mm_) continue;
    set.add(point_mm_ / wave.spacing_mm);  // one that says nothing new beside form and the others stays out
  }
  set.solve();
  for (const Sinusoid& wave : set.waves()) add_sinusoid(wave, edge_count_, workspace.wave_um);
}

void FaceForm::fit_form(FaceWorkspace& workspace, FaceFinding& finding) const {
  const std::size_t inner = inner_count();
  for (std::size_t i = 0; i < inner; ++i) {
    workspace.clean[i] = workspace.points_um[edge_count_ + i] - workspace.wave_um[edge_count_ + i];
  }
  const auto coefficients = parabola_.fit(workspace.clean);
  // The abscissa of the polynomials runs from -1 to 1 over the points of the inner face.
  const double half_mm = 0.5 * static_cast<double>(inner - 1) * point_mm_;
  const double reach = 0.5 * length_mm_ / half_mm;
  finding.crown_um = -coefficients[2] * reach * reach;
  finding.taper_um = 2.0 * reach * (coefficients[1] + 2.0 * coefficients[2] * middle_mm_ / half_mm);
  workspace.deviation.resize(point_count_);
  workspace.form_um.resize(point_count_);
  parabola_.subtract(coefficients, edge_count_, workspace.points_um, workspace.deviation);
  for (std::size_t p = 0; p < point_count_; ++p) {
    workspace.form_um[p] = workspace.points_um[p] - workspace.deviation[p];
  }
}

void FaceForm::drop_edges(FaceWorkspace& workspace, FaceFinding& finding) const {
  finding.has_edges = edge_count_ > 0;
  if (!finding.has_edges) return;
  workspace.ordered.resize(point_count_);
  for (std::size_t p = 0; p < point_count_; ++p) {
    workspace.ordered[p] = workspace.deviation[p] - workspace.wave_um[p];
  }
  const std::span<double> ordered(workspace.ordered);
  const double inner_um = median_of(ordered.subspan(edge_count_, inner_count()));
  finding.edge_drop_start_um = inner_um - median_of(ordered.first(edge_count_));
  finding.edge_drop_end_um = inner_um - median_of(ordered.last(edge_count_));
}

void FaceForm::seek_spot(FaceWorkspace& workspace, FaceFinding& finding) const {
  workspace.smoothed.resize(point_count_);
  smoothing_->apply(workspace.deviation, workspace.smoothed, workspace.filter);
  const std::span<const double> smoothed(workspace.smoothed);
  const auto index = static_cast<std::size_t>(std::ranges::max_element(smoothed) - smoothed.begin());
  finding.high_spot_um = smoothed[index];
  double place = static_cast<double>(index);
  if (index > 0 && index + 1 < point_count_) {
    const double rise = smoothed[index] - smoothed[index - 1];
    const double fall = smoothed[index] - smoothed[index + 1];
    if (rise + fall > 0.0) {
      const double offset = 0.5 * (rise - fall) / (rise + fall);
      place += offset;
      finding.high_spot_um += 0.25 * (rise - fall) * offset;
    }
  }
  // A point stands in the middle of its samples.
  const double first = static_cast<double>(first_sample_) + 0.5 * (static_cast<double>(group_) - 1.0);
  finding.high_spot_mm = first * options_.spacing_mm + place * point_mm_;
}

FaceFinding FaceForm::measure(std::span<const double> heights_um, std::span<const WaveComponent> waves,
                              FaceWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights_um.size() == options_.sample_count);
  FaceFinding finding{.length_mm = length_mm_, .crown_skew_um = crown_skew_um_};
  make_points(heights_um, workspace);
  fit_waves(waves, workspace);
  fit_form(workspace, finding);
  drop_edges(workspace, finding);
  seek_spot(workspace, finding);
  return finding;
}

}  // namespace crestgate::analysis
