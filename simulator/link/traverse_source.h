// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the gauge asks of the world under its stylus: the seam between the link and the surfaces.

#include <cstdint>
#include <vector>

#include "simulator/link/line_fault.h"
#include "simulator/link/upset.h"

namespace crestgate::simulator {

struct TraverseOrder {
  std::uint32_t length_um = 0;
  std::uint32_t spacing_nm = 0;
  std::uint32_t speed_um_per_s = 0;

  [[nodiscard]] std::uint32_t samples() const {
    return static_cast<std::uint32_t>(std::uint64_t{1000} * length_um / spacing_nm);
  }
};

struct TracedHeights {
  std::vector<std::int32_t> counts;  // as many as the order's samples
  std::uint16_t quality = 0;         // WireQuality bits
  std::vector<Upset> upsets;         // all of them happen, unless one before ends the traverse
  bool under_previous_id = false;    // chunks and FINISHED carry the id of the traverse before
};

struct StillReading {
  std::int32_t height_count = 0;
  std::uint32_t scatter_pm = 0;  // root mean square
  std::uint16_t samples = 0;
};

// Threads  called by the gauge only, from the thread that steps it.
class TraverseSource {
 public:
  virtual ~TraverseSource() = default;

  // What the stylus finds along the way asked for. The same calls in the same order give the same heights.
  virtual TracedHeights traverse(const TraverseOrder& order) = 0;

  // The reading of the standing stylus; `touching` says whether it is down.
  virtual StillReading still(bool touching, std::uint16_t averaging_ms) = 0;

  // What the line does to bytes at the moment.
  [[nodiscard]] virtual LineFaultSettings line_faults() const = 0;
};

}  // namespace crestgate::simulator
