// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/material_ratio_curve.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "base/expects.h"

namespace crestgate::analysis {

MaterialRatioCurve::MaterialRatioCurve(std::span<const double> falling_um) : falling_um_(falling_um) {
  CRESTGATE_EXPECTS(!falling_um.empty());
}

double MaterialRatioCurve::ratio_at(double height_um) const {
  const double n = static_cast<double>(falling_um_.size());
  if (height_um > falling_um_.front()) return 0.0;
  if (height_um <= falling_um_.back()) return 1.0;
  // The last sample at or above the height, and the first below it.
  const auto below = std::ranges::upper_bound(falling_um_, height_um, std::greater<>());
  const double upper = *(below - 1);
  const double rank = static_cast<double>(below - falling_um_.begin());  // of the last one above, from 1
  return (rank - 0.5 + (upper - height_um) / (upper - *below)) / n;
}

double MaterialRatioCurve::height_at(double ratio) const {
  const double n = static_cast<double>(falling_um_.size());
  const double position = ratio * n - 0.5;  // index, counted from 0
  if (position <= 0.0) return falling_um_.front();
  if (position >= n - 1.0) return falling_um_.back();
  const auto index = static_cast<std::size_t>(std::floor(position));
  const double share = position - static_cast<double>(index);
  return falling_um_[index] + share * (falling_um_[index + 1] - falling_um_[index]);
}

}  // namespace crestgate::analysis
