// SPDX-License-Identifier: Apache-2.0
#include "simulator/stylus/disturbance.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/expects.h"

namespace crestgate::simulator {

void stick(std::vector<double>& readings_um, std::size_t from, double noise_um, RandomStream& random) {
  if (from >= readings_um.size()) return;
  const double stuck_at_um = readings_um[from > 0 ? from - 1 : 0];
  for (std::size_t i = from; i < readings_um.size(); ++i) {
    readings_um[i] = stuck_at_um + noise_um * random.normal();
  }
}

void lift_off(std::vector<double>& readings_um, const Flight& flight, RandomStream& random) {
  const std::size_t end = std::min(flight.over.end, readings_um.size());
  if (flight.over.first + 2 >= end) return;  // nothing between take-off and landing
  const double takes_off_um = readings_um[flight.over.first];
  const double lands_um = readings_um[end - 1];
  const auto length = static_cast<double>(end - 1 - flight.over.first);
  for (std::size_t i = flight.over.first; i < end; ++i) {
    const double t = static_cast<double>(i - flight.over.first) / length;
    const double path_um = (1.0 - t) * takes_off_um + t * lands_um + 4.0 * flight.height_um * t * (1.0 - t);
    const double noise_um = flight.noise_um * random.normal();
    if (path_um > readings_um[i]) readings_um[i] = path_um + noise_um;  // false where either is NaN
  }
}

void vibrate(std::vector<double>& readings_um, const Vibration& vibration) {
  CRESTGATE_EXPECTS(vibration.wavelength_mm > 0.0);
  for (std::size_t i = 0; i < readings_um.size(); ++i) {
    const double turns =
        static_cast<double>(i) * vibration.spacing_mm / vibration.wavelength_mm + vibration.phase_turns;
    readings_um[i] += vibration.amplitude_um * std::sin(2.0 * std::numbers::pi * turns);
  }
}

void change_gain(std::vector<double>& readings_um, const GainCourse& course) {
  for (std::size_t i = 0; i < readings_um.size(); ++i) {
    readings_um[i] *= std::max(course.first + static_cast<double>(i) * course.per_sample, 0.0);
  }
}

}  // namespace crestgate::simulator
