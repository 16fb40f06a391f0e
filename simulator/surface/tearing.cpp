// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/tearing.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"
#include "simulator/surface/sites.h"

namespace crestgate::simulator {

namespace {

constexpr double kRagEveryUm = 3.0;

// The part of a face that a tear may change, by position.
class Strip {
 public:
  Strip(std::vector<double>& heights_um, double grid_um) : heights_um_(heights_um), grid_um_(grid_um) {}

  template <class Change>
  void change(double from_um, double to_um, Change change) {
    const double last_um = grid_um_ * static_cast<double>(heights_um_.size() - 1);
    if (to_um < 0.0 || from_um > last_um) return;
    const auto first = static_cast<std::size_t>(std::ceil(std::max(from_um, 0.0) / grid_um_));
    const auto last = static_cast<std::size_t>(std::min(to_um, last_um) / grid_um_);
    for (std::size_t i = first; i <= last; ++i) change(static_cast<double>(i) * grid_um_, heights_um_[i]);
  }

 private:
  std::vector<double>& heights_um_;
  double grid_um_;
};

double between(const std::vector<double>& knots, double place) {
  const auto left = std::min(static_cast<std::size_t>(place), knots.size() - 2);
  const double part = place - static_cast<double>(left);
  return (1.0 - part) * knots[left] + part * knots[left + 1];
}

}  // namespace

void tear(std::vector<double>& heights_um, double grid_um, const TearOptions& options, RandomStream& random) {
  CRESTGATE_EXPECTS(grid_um > 0.0 && options.width_um >= 0.0 && options.depth_um >= 0.0);
  CRESTGATE_EXPECTS(options.burr_um >= 0.0 && options.burr_width_um >= 0.0);
  if (heights_um.empty() || options.width_um == 0.0) return;
  const double half_um = 0.5 * options.width_um;
  Strip strip(heights_um, grid_um);
  std::vector<double> rags(static_cast<std::size_t>(std::ceil(options.width_um / kRagEveryUm)) + 2);
  const SiteOptions sites{.length_um = grid_um * static_cast<double>(heights_um.size() - 1),
                          .count_per_mm = options.count_per_mm};
  for (const double site_um : random_sites_um(sites, random)) {
    double crest_at_um = site_um;
    double crest_um = -HUGE_VAL;
    strip.change(site_um - half_um, site_um + half_um, [&](double x_um, double& z_um) {
      if (z_um <= crest_um) return;
      crest_um = z_um;
      crest_at_um = x_um;
    });
    if (crest_um == -HUGE_VAL) continue;  // a pit narrower than the grid, between two points
    for (double& rag : rags) rag = random.uniform();
    const double side = random.uniform() < 0.5 ? -1.0 : 1.0;
    strip.change(crest_at_um - half_um, crest_at_um + half_um, [&](double x_um, double& z_um) {
      const double t = (x_um - crest_at_um) / half_um;
      const double rag = between(rags, (x_um - crest_at_um + half_um) / kRagEveryUm);
      z_um = std::min(z_um, crest_um - options.depth_um * (1.0 - t * t * t * t) * (1.0 - 0.5 * rag));
    });
    const double edge_um = crest_at_um + side * half_um;
    const double outer_um = edge_um + side * options.burr_width_um;
    strip.change(std::min(edge_um, outer_um), std::max(edge_um, outer_um), [&](double x_um, double& z_um) {
      const double u = options.burr_width_um > 0.0 ? std::abs(x_um - edge_um) / options.burr_width_um : 0.0;
      z_um = std::max(z_um, crest_um + options.burr_um * (1.0 - u));
    });
  }
}

}  // namespace crestgate::simulator
