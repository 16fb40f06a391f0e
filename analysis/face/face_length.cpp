// SPDX-License-Identifier: Apache-2.0
#include "analysis/face/face_length.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "analysis/profile/orthogonal_polynomials.h"
#include "analysis/text/number_text.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kPointMm = 0.004;
constexpr double kFirstFitMm = 0.5;
constexpr std::size_t kLeastFitPoints = 8;
constexpr std::size_t kLeastFallenPoints = 3;
constexpr std::size_t kGrowth = 4;  // a fit is continued by its length over this
constexpr int kMostFits = 200;      // 10 to 20 are usual
constexpr double kRounding = 1e-9;  // spacings come as nanometres turned into millimetres
constexpr int kParabola = 2;

// A shoulder bounds a face as well, and has to stay out of the fits.
bool lies_off(double deviation_um) { return std::abs(deviation_um) > kFallUm; }

}  // namespace

base::Result<FaceLength> FaceLength::prepare(const FaceLengthOptions& options) {
  if (!(options.spacing_mm > 0.0) || !std::isfinite(options.spacing_mm)) {
    return base::Error{
        base::ErrorCode::kOutOfRange,
        "the sample spacing must be a positive number of mm, found " + shortest(options.spacing_mm)};
  }
  FaceLength length;
  length.options_ = options;
  length.group_ = std::max<std::size_t>(
      1, static_cast<std::size_t>(std::floor(kPointMm / options.spacing_mm * (1.0 + kRounding))));
  const double point_mm = static_cast<double>(length.group_) * options.spacing_mm;
  length.point_count_ = options.sample_count / length.group_;
  length.first_sample_ = options.sample_count % length.group_ / 2;
  length.start_points_ =
      std::max(kLeastFitPoints, static_cast<std::size_t>(std::lround(kFirstFitMm / point_mm)));
  length.fallen_points_ =
      std::max(kLeastFallenPoints, static_cast<std::size_t>(std::lround(kFallenMm / point_mm)));
  if (length.point_count_ <= length.start_points_ + 2 * length.fallen_points_) {
    const std::size_t needed = length.start_points_ + 2 * length.fallen_points_ + 1;
    return base::Error{base::ErrorCode::kTooShort,
                       "a face length needs a trace of at least " +
                           fixed(static_cast<double>(needed) * point_mm, 2) + " mm, found " +
                           fixed(static_cast<double>(options.sample_count) * options.spacing_mm, 2) + " mm"};
  }
  return length;
}

void FaceLength::make_points(std::span<const double> primary_um, FaceLengthWorkspace& workspace) const {
  workspace.points_um.resize(point_count_);
  workspace.deviation_um.resize(point_count_);
  for (std::size_t p = 0; p < point_count_; ++p) {
    double sum = 0.0;
    for (std::size_t k = 0; k < group_; ++k) sum += primary_um[first_sample_ + p * group_ + k];
    workspace.points_um[p] = sum / static_cast<double>(group_);
  }
}

void FaceLength::fit(const Stretch& face, FaceLengthWorkspace& workspace) const {
  std::size_t first = face.first + (face.starts_off ? fallen_points_ : 0);
  std::size_t end = face.end - std::min(face.end, face.ends_off ? fallen_points_ : 0);
  if (end < first + kLeastFitPoints) {  // a face this short has no inner part
    first = face.first;
    end = face.end;
  }
  const OrthogonalPolynomials parabola(end - first, kParabola);
  const auto coefficients = parabola.fit(std::span(workspace.points_um).subspan(first, end - first));
  parabola.subtract(coefficients, first, workspace.points_um, workspace.deviation_um);
}

FaceLength::Stretch FaceLength::grown(const Stretch& face, std::span<const double> deviation_um) const {
  const std::size_t reach = std::max(fallen_points_, (face.end - face.first) / kGrowth);
  const std::size_t middle = point_count_ / 2;
  Stretch next{.first = face.first - std::min(face.first, reach),
               .end = std::min(face.end + reach, point_count_)};
  std::size_t run = 0;
  for (std::size_t p = middle; p < point_count_ && p < next.end + fallen_points_; ++p) {
    run = lies_off(deviation_um[p]) ? run + 1 : 0;
    if (run < fallen_points_) continue;
    next.end = p + 1 - run;
    next.ends_off = true;
    break;
  }
  run = 0;
  for (std::size_t p = middle; p-- > 0 && p + fallen_points_ + 1 > next.first;) {
    run = lies_off(deviation_um[p]) ? run + 1 : 0;
    if (run < fallen_points_) continue;
    next.first = p + run;
    next.starts_off = true;
    break;
  }
  // The least that a parabola can be fitted to, about the middle.
  next.first = std::min(next.first, middle - kLeastFitPoints / 2);
  next.end = std::max(next.end, middle + kLeastFitPoints / 2);
  return next;
}

double FaceLength::place_mm(double point) const {
  const double first = static_cast<double>(first_sample_) + 0.5 * (static_cast<double>(group_) - 1.0);
  return (first + point * static_cast<double>(group_)) * options_.spacing_mm;
}

FaceLengthFinding FaceLength::measure(std::span<const double> primary_um,
                                      FaceLengthWorkspace& workspace) const {
  CRESTGATE_EXPECTS(primary_um.size() == options_.sample_count);
  make_points(primary_um, workspace);
  const std::size_t middle = point_count_ / 2;
  Stretch face{.first = middle - start_points_ / 2, .end = middle + start_points_ / 2};
  for (int pass = 0;; ++pass) {
    fit(face, workspace);
    const Stretch next = grown(face, workspace.deviation_um);
    if (next == face) break;
    if (pass == kMostFits) return {};
    face = next;
  }
  const std::span<const double> deviation_um(workspace.deviation_um);
  // Between a point that still belongs to the face and its neighbour that has fallen.
  const auto crossing = [&](std::size_t inner, std::size_t outer) -> std::optional<double> {
    if (deviation_um[outer] >= -kFallUm) return std::nullopt;
    const double share = (deviation_um[inner] + kFallUm) / (deviation_um[inner] - deviation_um[outer]);
    const double step = outer > inner ? 1.0 : -1.0;
    return place_mm(static_cast<double>(inner) + step * std::clamp(share, 0.0, 1.0));
  };
  FaceLengthFinding finding;
  if (face.starts_off) finding.start_mm = crossing(face.first, face.first - 1);
  if (face.ends_off) finding.end_mm = crossing(face.end - 1, face.end);
  return finding;
}

}  // namespace crestgate::analysis
