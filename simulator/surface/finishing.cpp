// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/finishing.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "base/expects.h"
#include "simulator/surface/ridges.h"

namespace crestgate::simulator {

void finish(FaceLayers& face, double grid_um, const FinishOptions& options, RandomStream& random) {
  const std::size_t count = face.texture_um.size();
  CRESTGATE_EXPECTS(face.waves_um.size() == count && face.form_um.size() == count);
  CRESTGATE_EXPECTS(options.plateau_share >= 0.0 && options.plateau_share <= 1.0);
  CRESTGATE_EXPECTS(options.follow >= 0.0 && options.follow <= 1.0 && options.deeper_um >= 0.0);
  const std::vector<double> marks_um = ridge_texture(
      count, grid_um, {.rq_um = options.texture_um, .correlation_um = options.texture_length_um, .skew = 0.0},
      random);
  const auto touched =
      static_cast<std::size_t>(std::llround(options.plateau_share * static_cast<double>(count)));
  if (touched == 0) return;

  std::vector<double> above_tool_um(count);  // with the tool at c = 0
  for (std::size_t i = 0; i < count; ++i) {
    above_tool_um[i] = face.texture_um[i] + (1.0 - options.follow) * face.waves_um[i] - marks_um[i];
  }
  std::vector<double> order = above_tool_um;
  const auto border = order.begin() + static_cast<std::ptrdiff_t>(touched - 1);
  std::nth_element(order.begin(), border, order.end(), std::greater<>());
  const double c_um = *border - options.deeper_um;
  face.plateau_um = c_um;

  for (std::size_t i = 0; i < count; ++i) {
    const double followed_um = options.follow * face.waves_um[i];
    const double rest_um = face.waves_um[i] - followed_um;
    const bool cut = above_tool_um[i] >= c_um;
    face.texture_um[i] = cut ? c_um + marks_um[i] : face.texture_um[i] + rest_um;
    face.waves_um[i] = followed_um;
  }
}

}  // namespace crestgate::simulator
