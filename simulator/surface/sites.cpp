// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/sites.h"

#include <cmath>

#include "base/expects.h"

namespace crestgate::simulator {

std::vector<double> random_sites_um(const SiteOptions& options, RandomStream& random) {
  CRESTGATE_EXPECTS(options.length_um >= 0.0 && options.count_per_mm >= 0.0);
  std::vector<double> sites_um;
  if (options.count_per_mm == 0.0) return sites_um;
  const double mean_gap_um = 1000.0 / options.count_per_mm;
  double at_um = 0.0;
  while (true) {
    at_um -= mean_gap_um * std::log(1.0 - random.uniform());
    if (at_um > options.length_um) return sites_um;
    sites_um.push_back(at_um);
  }
}

}  // namespace crestgate::simulator
