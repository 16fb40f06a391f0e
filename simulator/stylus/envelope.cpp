// SPDX-License-Identifier: Apache-2.0
#include "simulator/stylus/envelope.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <deque>
#include <numbers>

#include "base/expects.h"

namespace crestgate::simulator {

namespace {

// How far above the tip's lowest point its outline stands at the distances 0, 1, 2 ... grid steps. Ends where
// the outline is higher than all relief, since nothing can touch there.
std::vector<double> outline(double spacing_um, const Tip& tip, double relief_um) {
  const double r = tip.radius_um;
  const double half_angle = tip.cone_half_angle_deg * std::numbers::pi / 180.0;
  const bool cone = tip.cone_half_angle_deg > 0.0;
  const double tangent_um = cone ? r * std::cos(half_angle) : r;
  std::vector<double> rise_um;
  for (std::size_t k = 0;; ++k) {
    const double u = static_cast<double>(k) * spacing_um;
    double rise = 0.0;
    if (u <= tangent_um) {
      rise = u * u / (r + std::sqrt(r * r - u * u));
    } else if (cone) {
      rise = r * (1.0 - std::sin(half_angle)) + (u - tangent_um) / std::tan(half_angle);
    } else {
      return rise_um;
    }
    if (rise > relief_um) return rise_um;
    rise_um.push_back(rise);
  }
}

// The highest height within `reach` steps of each place (a queue of falling candidates: each enters once).
std::vector<double> highest_within(std::span<const double> heights_um, std::size_t reach) {
  const std::size_t count = heights_um.size();
  std::vector<double> highest(count);
  std::deque<std::size_t> candidates;
  std::size_t next = 0;
  for (std::size_t i = 0; i < count; ++i) {
    for (; next < count && next <= i + reach; ++next) {
      while (!candidates.empty() && heights_um[candidates.back()] <= heights_um[next]) candidates.pop_back();
      candidates.push_back(next);
    }
    while (candidates.front() + reach < i) candidates.pop_front();
    highest[i] = heights_um[candidates.front()];
  }
  return highest;
}

}  // namespace

std::vector<double> tip_envelope(std::span<const double> heights_um, double spacing_um, const Tip& tip) {
  CRESTGATE_EXPECTS(spacing_um > 0.0 && tip.radius_um >= 0.0);
  CRESTGATE_EXPECTS(tip.cone_half_angle_deg >= 0.0 && tip.cone_half_angle_deg < 90.0);
  std::vector<double> traced_um(heights_um.begin(), heights_um.end());
  if (heights_um.empty() || tip.radius_um == 0.0) return traced_um;
  const auto [lowest, top] = std::minmax_element(heights_um.begin(), heights_um.end());
  const std::vector<double> rise_um = outline(spacing_um, tip, *top - *lowest);
  if (rise_um.size() < 2) return traced_um;
  const std::vector<double> reachable_um = highest_within(heights_um, rise_um.size() - 1);
  for (std::size_t i = 0; i < traced_um.size(); ++i) {
    double best = heights_um[i];
    for (std::size_t k = 1; k < rise_um.size() && reachable_um[i] - rise_um[k] > best; ++k) {
      if (i >= k) best = std::max(best, heights_um[i - k] - rise_um[k]);
      if (i + k < heights_um.size()) best = std::max(best, heights_um[i + k] - rise_um[k]);
    }
    traced_um[i] = best;
  }
  return traced_um;
}

}  // namespace crestgate::simulator
