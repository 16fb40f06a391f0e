// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/peening.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"
#include "simulator/surface/sites.h"

namespace crestgate::simulator {

namespace {

constexpr double kRimPeak = 27.0 / 4.0;  // makes the top of t (1-t)^2 one

CraterShape scaled(const CraterShape& shape, double size) {
  return {.depth_um = shape.depth_um * size * size,
          .radius_um = shape.radius_um * size,
          .rim_share = shape.rim_share,
          .rim_width_um = shape.rim_width_um * size};
}

double reach_um(const CraterShape& shape) {
  return shape.radius_um + (shape.rim_share > 0.0 ? shape.rim_width_um : 0.0);
}

}  // namespace

double rim_height_um(const CraterShape& shape) {
  if (shape.rim_share == 0.0) return 0.0;
  const double crater = 0.5 * shape.radius_um * shape.radius_um * shape.depth_um;  // volumes over pi
  const double rim = 2.0 * kRimPeak * shape.rim_width_um *
                     (shape.radius_um / 12.0 + shape.rim_width_um / 30.0);  // of height 1
  return shape.rim_share * crater / rim;
}

double crater_height_um(double r_um, const CraterShape& shape) {
  if (r_um < shape.radius_um) {
    const double part = r_um / shape.radius_um;
    return -shape.depth_um * (1.0 - part * part);
  }
  if (r_um >= reach_um(shape)) return 0.0;
  const double t = (r_um - shape.radius_um) / shape.rim_width_um;
  return rim_height_um(shape) * kRimPeak * t * (1.0 - t) * (1.0 - t);
}

void peen(std::vector<double>& heights_um, double grid_um, const PeeningOptions& options,
          RandomStream& random) {
  CRESTGATE_EXPECTS(grid_um > 0.0 && options.scatter >= 0.0);
  CRESTGATE_EXPECTS(options.crater.rim_share == 0.0 || options.crater.rim_width_um > 0.0);
  if (heights_um.empty() || options.crater.radius_um <= 0.0) return;
  const double length_um = grid_um * static_cast<double>(heights_um.size() - 1);
  const SiteOptions sites{.length_um = length_um, .count_per_mm = options.count_per_mm};
  for (const double middle_um : random_sites_um(sites, random)) {
    const double deviate = std::clamp(random.normal(), -3.0, 3.0);
    const CraterShape crater = scaled(options.crater, std::max(0.1, 1.0 + options.scatter * deviate));
    const double reach = reach_um(crater);
    const double aside_um = reach * (2.0 * random.uniform() - 1.0);
    const double half_um = std::sqrt(reach * reach - aside_um * aside_um);
    const auto first = static_cast<std::size_t>(std::ceil(std::max(middle_um - half_um, 0.0) / grid_um));
    const auto end = static_cast<std::size_t>(std::min(middle_um + half_um, length_um) / grid_um) + 1;
    for (std::size_t i = first; i < std::min(end, heights_um.size()); ++i) {
      heights_um[i] +=
          crater_height_um(std::hypot(static_cast<double>(i) * grid_um - middle_um, aside_um), crater);
    }
  }
}

}  // namespace crestgate::simulator
