// SPDX-License-Identifier: Apache-2.0
#pragma once
// From a surface to the counts that leave the instrument: datum, gain, drift, noise, range, steps.

#include <cstddef>
#include <cstdint>
#include <vector>

#include "simulator/stylus/envelope.h"
#include "simulator/surface/face.h"

namespace crestgate::simulator {

struct StylusTraits {
  Tip tip;
  double noise_um = 0.0;         // root mean square, white, of one sample
  double gain = 1.0;             // what the instrument makes of 1 um; 1 is true
  double drift_um_per_s = 0.0;   // of the zero while the stylus moves
  double range_um = 1000.0;      // peak to peak, the datum in its middle
  std::uint32_t step_pm = 1000;  // one count
};

// How the part lies under the straight datum that replaces a skid.
struct Alignment {
  double tilt_um_per_mm = 0.0;
  double shift_mm = 0.0;  // where the middle of the traverse stands on the face
};

struct Pass {
  std::size_t samples = 0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
  Alignment alignment;
  std::uint64_t noise_seed = 0;  // of this pass alone
};

struct Trace {
  std::vector<std::int32_t> counts;  // base::kOverRangeCount where the pickup stood at its end stop
  bool over_range = false;
};

// Purpose  one pass over the middle of a face that the tip has felt already (see tip_envelope).
// Method   count = round((gain * (felt + tilt) + drift * time + noise) / step), felt linearly between grid
//          points. Beyond the edge of the face the stylus falls to its end stop.
Trace trace_pass(const Face& felt, const StylusTraits& traits, const Pass& pass);

// The two halves of it: what the instrument reads (um, NaN beyond the edge of the face), and what it makes of
// that.
std::vector<double> read_pass(const Face& felt, const StylusTraits& traits, const Pass& pass);
Trace counts_of(const std::vector<double>& readings_um, const StylusTraits& traits);

// What is read with nothing under the stylus: it hangs at its end stop all along.
std::vector<double> read_nothing(std::size_t samples);

}  // namespace crestgate::simulator
