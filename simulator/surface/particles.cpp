// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/particles.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"
#include "simulator/surface/sites.h"

namespace crestgate::simulator {

double particle_height_um(double distance_um, const ParticleOptions& particle) {
  const double half_um = 0.5 * particle.width_um;
  const double flat_um = half_um * particle.flat_share;
  const double from_middle_um = std::abs(distance_um);
  if (from_middle_um > half_um) return 0.0;
  if (from_middle_um <= flat_um) return particle.height_um;
  return particle.height_um * (half_um - from_middle_um) / (half_um - flat_um);
}

void leave_proud(std::vector<double>& heights_um, double plateau_um, double grid_um,
                 const ParticleOptions& options, RandomStream& random) {
  CRESTGATE_EXPECTS(grid_um > 0.0 && options.height_um >= 0.0 && options.width_um >= 0.0);
  CRESTGATE_EXPECTS(options.flat_share >= 0.0 && options.flat_share <= 1.0 && options.scatter >= 0.0);
  if (heights_um.empty()) return;
  const double length_um = grid_um * static_cast<double>(heights_um.size() - 1);
  const auto around_one = [&] {
    return std::max(0.1, 1.0 + options.scatter * std::clamp(random.normal(), -3.0, 3.0));
  };
  const SiteOptions sites{.length_um = length_um, .count_per_mm = options.count_per_mm};
  for (const double middle_um : random_sites_um(sites, random)) {
    ParticleOptions particle = options;
    particle.height_um *= around_one();
    particle.width_um *= around_one();
    const double half_um = 0.5 * particle.width_um;
    const auto first = static_cast<std::size_t>(std::ceil(std::max(middle_um - half_um, 0.0) / grid_um));
    const auto end = static_cast<std::size_t>(std::min(middle_um + half_um, length_um) / grid_um) + 1;
    for (std::size_t i = first; i < std::min(end, heights_um.size()); ++i) {
      const double proud_um = particle_height_um(static_cast<double>(i) * grid_um - middle_um, particle);
      heights_um[i] = std::max(heights_um[i], plateau_um + proud_um);
    }
  }
}

}  // namespace crestgate::simulator
