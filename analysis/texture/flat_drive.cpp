// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/flat_drive.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/text/number_text.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kSameSpacing = 1e-3;  // of the spacing: positions in a file are rounded

}  // namespace

base::Result<DriveWaves> drive_waves_on_flat(const TextureSettings& settings, const TraceShape& face,
                                             std::span<const double> flat_um, double flat_spacing_mm) {
  CRESTGATE_EXPECTS(settings.waves.has_value());
  if (!(std::abs(flat_spacing_mm - face.spacing_mm) <= kSameSpacing * face.spacing_mm)) {
    return base::Error{base::ErrorCode::kOutOfRange, "the flat must be sampled like the face, every " +
                                                         shortest(face.spacing_mm) + " mm, found " +
                                                         shortest(flat_spacing_mm) + " mm"};
  }
  const auto is_height = [](double height_um) { return std::isfinite(height_um); };
  const auto gap = std::ranges::find_if_not(flat_um, is_height);
  if (gap != flat_um.end()) {
    return base::Error{base::ErrorCode::kNoData,
                       "sample " + std::to_string(gap - flat_um.begin()) + " of the flat is missing"};
  }
  const auto search = WaveSearch::prepare({.band = *settings.waves,
                                           .form = form_beside_waves(settings.form),
                                           .spacing_mm = face.spacing_mm,
                                           .sample_count = face.sample_count});
  if (!search) return search.error();
  std::vector<double> smoothed(flat_um.begin(), flat_um.end());
  if (settings.lambda_s_mm > 0.0 && !flat_um.empty()) {
    const auto smoothing = GaussianLowPass::prepare(
        {.cutoff_mm = settings.lambda_s_mm, .spacing_mm = face.spacing_mm, .sample_count = flat_um.size()});
    if (!smoothing) return smoothing.error();
    FilterWorkspace filter;
    smoothing->apply(flat_um, smoothed, filter);
  }
  WaveWorkspace workspace;
  return find_drive_waves(*search, smoothed, workspace);
}

}  // namespace crestgate::analysis
