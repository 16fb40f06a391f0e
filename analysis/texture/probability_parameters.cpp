// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/probability_parameters.h"

#include <algorithm>
#include <cmath>

#include "analysis/texture/normal_quantile.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kRange = 3.0;           // standard deviations on either side
constexpr double kSteeper = 1.25;        // of the valleys against the plateau
constexpr double kSmallestShare = 0.05;  // of the range, of either region
constexpr double kRounding = 1e-12;      // of the heights
constexpr std::size_t kFewestHeights = 5;

}  // namespace

ProbabilityAnalysis::ProbabilityAnalysis(std::size_t sample_count) : sample_count_(sample_count) {
  CRESTGATE_EXPECTS(sample_count > 0);
  const double n = static_cast<double>(sample_count);
  const auto s_at = [n](std::size_t rank) {
    return normal_quantile((n - static_cast<double>(rank) - 0.5) / n);
  };
  while (s_at(first_) > kRange) ++first_;
  const std::size_t count = sample_count - 2 * first_;
  if (count < kFewestHeights) return;
  s_.resize(count);
  for (std::size_t i = 0; 2 * i < count; ++i) {
    const double s = s_at(first_ + i);
    s_[i] = s;
    s_[count - 1 - i] = -s;  // the middle one of an odd count is 0
  }
  if (count % 2 == 1) s_[count / 2] = 0.0;
  weight_.resize(count);
  for (std::size_t i = 0; i < count; ++i) {
    weight_[i] = 0.5 * (s_[i == 0 ? 0 : i - 1] - s_[i + 1 == count ? i : i + 1]);
    weight_sum_ += weight_[i];
    square_sum_ += weight_[i] * s_[i] * s_[i];
  }
  // Sums over the heights above j give |h(j)|^2 = h.h - (h.1)^2 / 1.1 - (h.s)^2 / s.s.
  explains_.resize(count);
  double w = 0.0;
  double ws = 0.0;
  double wss = 0.0;
  for (std::size_t j = 0; j < count; ++j) {
    const double hinge = ws - s_[j] * w;
    const double hinge_s = wss - s_[j] * ws;
    const double squares = hinge_s - s_[j] * hinge;
    const double norm = squares - hinge * hinge / weight_sum_ - hinge_s * hinge_s / square_sum_;
    const bool is_inner = j >= 2 && j + 2 < count;
    explains_[j] = is_inner && norm > 0.0 ? 1.0 / norm : 0.0;
    w += weight_[j];
    ws += weight_[j] * s_[j];
    wss += weight_[j] * s_[j] * s_[j];
  }
}

ProbabilityAnalysis::Line ProbabilityAnalysis::fit_line(std::span<const double> z) const {
  double sum = 0.0;
  double product = 0.0;
  for (std::size_t i = 0; i < z.size(); ++i) {
    const double weighted = weight_[i] * z[i];
    sum += weighted;
    product += weighted * s_[i];
  }
  return {.mean_um = sum / weight_sum_, .slope_um = product / square_sum_};
}

std::size_t ProbabilityAnalysis::find_bend(std::span<const double> z, const Line& line) const {
  double sum = 0.0;      // of weight * z over the heights above j, z without the line
  double product = 0.0;  // of weight * z * s
  double best = 0.0;
  std::size_t bend = 0;
  for (std::size_t j = 0; j < z.size(); ++j) {
    const double hinge_z = product - s_[j] * sum;
    const double explained = hinge_z * hinge_z * explains_[j];
    if (explained > best) {
      best = explained;
      bend = j;
    }
    const double weighted = weight_[j] * (z[j] - line.mean_um - line.slope_um * s_[j]);
    sum += weighted;
    product += weighted * s_[j];
  }
  return bend;
}

ProbabilityParameters ProbabilityAnalysis::judge(std::span<const double> z, const Line& line,
                                                 std::size_t bend) const {
  double hinge_z = 0.0;
  double hinge_s = 0.0;
  for (std::size_t i = 0; i < bend; ++i) {
    const double hinge = weight_[i] * (s_[i] - s_[bend]);
    hinge_z += hinge * (z[i] - line.mean_um - line.slope_um * s_[i]);
    hinge_s += hinge * s_[i];
  }
  const double change_um = hinge_z * explains_[bend];  // of the slope, at the bend
  const double valley_um = line.slope_um - change_um * hinge_s / square_sum_;
  // Heights fall along the plot; a line that rises is a level plateau whose bend lies between two ranks.
  const double plateau_um = std::max(0.0, valley_um + change_um);
  const double range = s_.front() - s_.back();
  const bool both_wide =
      s_.front() - s_[bend] >= kSmallestShare * range && s_[bend] - s_.back() >= kSmallestShare * range;
  // A slope that is nothing but rounding is no process.
  const double nothing_um = kRounding * std::max(std::abs(z.front()), std::abs(z.back()));
  if (!both_wide || valley_um <= nothing_um || valley_um < kSteeper * plateau_um) return {};
  return {
      .has_two_processes = true,
      .plateau_deviation_um = plateau_um,
      .valley_deviation_um = valley_um,
      .transition_ratio = (static_cast<double>(first_ + bend) + 0.5) / static_cast<double>(sample_count_)};
}

ProbabilityParameters ProbabilityAnalysis::run(std::span<const double> falling_um) const {
  CRESTGATE_EXPECTS(falling_um.size() == sample_count_);
  if (s_.empty()) return {};
  const std::span<const double> z = falling_um.subspan(first_, s_.size());
  const Line line = fit_line(z);
  const std::size_t bend = find_bend(z, line);
  if (bend == 0) return {};
  return judge(z, line, bend);
}

}  // namespace crestgate::analysis
