// SPDX-License-Identifier: Apache-2.0
#pragma once
// The material ratio (Abbott) curve and what is read off it.

#include <span>

#include "analysis/texture/sort_falling.h"

namespace crestgate::analysis {

// Purpose   a view of the curve over sorted heights z(1) >= .. >= z(n), standing at ratios (k - 1/2) / n,
//           with straight lines between. Ratios are fractions 0 .. 1.
// Lifetime  the sorted heights must outlive the view.
// Source    ISO 21920-2:2021 4.5 - from memory; the points and lines of the sampled curve are ours.
class MaterialRatioCurve {
 public:
  // Pre       at least one height.
  explicit MaterialRatioCurve(std::span<const double> falling_um);

  // Rmr(c): share of the length at or above height c. 0 above the highest, 1 below the lowest sample; at a
  // height that many samples share, all of them count.
  [[nodiscard]] double ratio_at(double height_um) const;

  // Rmc(p): height at ratio p; constant beyond the first and last point.
  [[nodiscard]] double height_at(double ratio) const;

  [[nodiscard]] std::span<const double> falling_um() const { return falling_um_; }

 private:
  std::span<const double> falling_um_;
};

}  // namespace crestgate::analysis
