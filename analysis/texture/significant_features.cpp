// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/significant_features.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr std::size_t kHighest = 5;

// The highest or lowest sample since the last turn.
class Extreme {
 public:
  void restart(double value, std::size_t index) {
    value_ = value;
    first_ = last_ = index;
  }
  // A level top that goes on.
  void meet_equal(std::size_t index) {
    if (last_ + 1 == index) last_ = index;
  }
  [[nodiscard]] double value() const { return value_; }
  [[nodiscard]] std::size_t middle() const { return first_ + (last_ - first_) / 2; }

 private:
  double value_ = 0.0;
  std::size_t first_ = 0;
  std::size_t last_ = 0;
};

// Second derivative of the parabola that fits 2 h + 1 equally spaced heights best.
class Parabola {
 public:
  Parabola(std::size_t half_width, double spacing_mm) : half_width_(half_width) {
    const double h = static_cast<double>(half_width);
    const double points = 2.0 * h + 1.0;
    mean_square_ = h * (h + 1.0) / 3.0;
    // sum of (u^2 - mean square)^2 over u = -h .. h
    const double norm = points * (points * points - 1.0) * (points * points - 4.0) / 180.0;
    scale_per_mm_ = 2.0 / (norm * spacing_mm * spacing_mm * kUmPerMm);
  }

  [[nodiscard]] std::size_t half_width() const { return half_width_; }

  [[nodiscard]] double second_derivative_per_mm(const double* centre_um) const {
    double sum = 0.0;
    for (std::size_t u = 1; u <= half_width_; ++u) {
      const double square = static_cast<double>(u) * static_cast<double>(u);
      const auto step = static_cast<std::ptrdiff_t>(u);
      sum += (square - mean_square_) * (centre_um[step] + centre_um[-step] - 2.0 * centre_um[0]);
    }
    return sum * scale_per_mm_;
  }

 private:
  std::size_t half_width_;
  double mean_square_ = 0.0;
  double scale_per_mm_ = 0.0;
};

// The five largest numbers met, and how many there were.
class Largest {
 public:
  void meet(double value) {
    ++count_;
    if (count_ > kHighest && value <= values_.back()) return;
    std::size_t place = std::min(count_, kHighest) - 1;
    for (; place > 0 && values_[place - 1] < value; --place) values_[place] = values_[place - 1];
    values_[place] = value;
  }
  [[nodiscard]] std::size_t count() const { return count_; }
  [[nodiscard]] double mean() const {
    double sum = 0.0;
    for (const double value : values_) sum += value;
    return sum / static_cast<double>(kHighest);
  }

 private:
  std::array<double, kHighest> values_{};
  std::size_t count_ = 0;
};

struct Mean {
  double sum = 0.0;
  std::size_t count = 0;
  void add(double value) {
    sum += value;
    ++count;
  }
  [[nodiscard]] double value() const { return count == 0 ? 0.0 : sum / static_cast<double>(count); }
};

}  // namespace

void find_features(std::span<const double> heights_um, double prominence_um, std::vector<Feature>& features) {
  CRESTGATE_EXPECTS(!heights_um.empty() && prominence_um > 0.0);
  features.clear();
  features.reserve(heights_um.size());
  Extreme highest;
  Extreme lowest;
  highest.restart(heights_um[0], 0);
  lowest.restart(heights_um[0], 0);
  enum class Way { kUnknown, kUp, kDown } way = Way::kUnknown;
  bool complete = false;  // the extreme that comes next has its near side within the evaluation length
  for (std::size_t i = 1; i < heights_um.size(); ++i) {
    const double z = heights_um[i];
    if (way != Way::kDown) {
      if (z > highest.value()) {
        highest.restart(z, i);
      } else if (z == highest.value()) {
        highest.meet_equal(i);
      } else if (highest.value() - z >= prominence_um) {
        if (complete) features.push_back({.sample = highest.middle(), .is_peak = true});
        complete = true;
        way = Way::kDown;
        lowest.restart(z, i);
        continue;
      }
    }
    if (way != Way::kUp) {
      if (z < lowest.value()) {
        lowest.restart(z, i);
      } else if (z == lowest.value()) {
        lowest.meet_equal(i);
      } else if (z - lowest.value() >= prominence_um) {
        if (complete) features.push_back({.sample = lowest.middle(), .is_peak = false});
        complete = true;
        way = Way::kUp;
        highest.restart(z, i);
      }
    }
  }
}

FeatureParameters feature_parameters(const EvaluatedProfile& profile, const FeatureOptions& options,
                                     std::vector<Feature>& features) {
  CRESTGATE_EXPECTS(profile.spacing_mm > 0.0 && options.curvature_half_width_mm >= 0.0);
  FeatureParameters found;
  const std::span<const double> heights_um = profile.heights_um();
  features.clear();
  features.reserve(heights_um.size());
  if (options.prominence_um > 0.0) find_features(heights_um, options.prominence_um, features);

  // A spacing is known to fewer digits than a millionth of a sample.
  const double half_width = std::floor(options.curvature_half_width_mm / profile.spacing_mm + 1e-6);
  const bool has_window = half_width >= 1.0;
  const Parabola parabola(static_cast<std::size_t>(std::max(1.0, half_width)), profile.spacing_mm);
  Largest peaks;
  Largest pits;
  Mean peak_curvature;
  Mean pit_curvature;
  for (const Feature& feature : features) {
    const double height_um = heights_um[feature.sample];
    (feature.is_peak ? peaks : pits).meet(feature.is_peak ? height_um : -height_um);
    const std::size_t sample = profile.first_sample + feature.sample;
    const std::size_t reach = parabola.half_width();
    if (!has_window || sample < reach || sample + reach >= profile.whole_um.size()) continue;
    const double bend = parabola.second_derivative_per_mm(profile.whole_um.data() + sample);
    if (feature.is_peak) {
      peak_curvature.add(-bend);
    } else {
      pit_curvature.add(bend);
    }
  }
  const double length_mm = static_cast<double>(heights_um.size()) * profile.spacing_mm;
  found.peak_count = peaks.count();
  found.pit_count = pits.count();
  found.peak_density_per_mm = static_cast<double>(peaks.count()) / length_mm;
  found.pit_density_per_mm = static_cast<double>(pits.count()) / length_mm;
  found.has_peak_curvature = peak_curvature.count > 0;
  found.has_pit_curvature = pit_curvature.count > 0;
  found.peak_curvature_per_mm = peak_curvature.value();
  found.pit_curvature_per_mm = pit_curvature.value();
  found.has_five_peaks = peaks.count() >= kHighest;
  found.has_five_pits = pits.count() >= kHighest;
  if (found.has_five_peaks) found.five_peak_height_um = peaks.mean();
  if (found.has_five_pits) found.five_pit_depth_um = pits.mean();
  if (found.has_five_peaks && found.has_five_pits) {
    found.ten_point_height_um = found.five_peak_height_um + found.five_pit_depth_um;
  }
  return found;
}

}  // namespace crestgate::analysis
