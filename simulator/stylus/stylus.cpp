// SPDX-License-Identifier: Apache-2.0
#include "simulator/stylus/stylus.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "base/expects.h"
#include "base/traverse.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

namespace {

// A position that misses the end of the face by rounding is still on it: a millionth of a grid step.
constexpr double kEndTolerance = 1e-6;

std::optional<double> height_at(const Face& face, double x_mm) {
  const double place = 1000.0 * (x_mm - face.first_mm) / face.grid_um;
  const auto last = static_cast<double>(face.heights_um.size() - 1);
  if (place < -kEndTolerance || place > last + kEndTolerance) return std::nullopt;
  const double floor_place = std::floor(std::min(std::max(place, 0.0), last));
  const auto left = static_cast<std::size_t>(floor_place);
  const double part = std::min(std::max(place - floor_place, 0.0), 1.0);
  if (part < kEndTolerance || left + 1 == face.heights_um.size()) return face.heights_um[left];
  return (1.0 - part) * face.heights_um[left] + part * face.heights_um[left + 1];
}

}  // namespace

std::vector<double> read_pass(const Face& felt, const StylusTraits& traits, const Pass& pass) {
  CRESTGATE_EXPECTS(pass.speed_mm_per_s > 0.0 && !felt.heights_um.empty());
  const double start_mm =
      pass.alignment.shift_mm -
      0.5 * pass.spacing_mm * static_cast<double>(pass.samples > 0 ? pass.samples - 1 : 0);
  RandomStream random(pass.noise_seed);
  std::vector<double> readings_um = read_nothing(pass.samples);
  for (std::size_t i = 0; i < pass.samples; ++i) {
    const double along_mm = pass.spacing_mm * static_cast<double>(i);
    const double noise_um = traits.noise_um * random.normal();
    const std::optional<double> surface_um = height_at(felt, start_mm + along_mm);
    if (!surface_um) continue;
    const double tilt_um = pass.alignment.tilt_um_per_mm * (start_mm + along_mm - pass.alignment.shift_mm);
    readings_um[i] = traits.gain * (*surface_um + tilt_um) +
                     traits.drift_um_per_s * along_mm / pass.speed_mm_per_s + noise_um;
  }
  return readings_um;
}

Trace counts_of(const std::vector<double>& readings_um, const StylusTraits& traits) {
  CRESTGATE_EXPECTS(traits.step_pm > 0);
  const double step_um = 1e-6 * traits.step_pm;
  Trace trace;
  trace.counts.reserve(readings_um.size());
  for (const double read_um : readings_um) {
    const double count = std::round(read_um / step_um);
    // A step far finer than the range needs would not fit the wire's 32 bits: then they are the end stop. NaN
    // is neither within the range nor within the bits.
    if (std::abs(read_um) <= 0.5 * traits.range_um && std::abs(count) < base::kOverRangeCount) {
      trace.counts.push_back(static_cast<std::int32_t>(count));
    } else {
      trace.counts.push_back(base::kOverRangeCount);
      trace.over_range = true;
    }
  }
  return trace;
}

Trace trace_pass(const Face& felt, const StylusTraits& traits, const Pass& pass) {
  return counts_of(read_pass(felt, traits, pass), traits);
}

std::vector<double> read_nothing(std::size_t samples) {
  return std::vector<double>(samples, std::numeric_limits<double>::quiet_NaN());
}

}  // namespace crestgate::simulator
