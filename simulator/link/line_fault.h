// SPDX-License-Identifier: Apache-2.0
#pragma once
// A bad line: bytes in, other bytes out. What happens to whole frames: frame_fault.h.

#include <cstdint>

#include "simulator/link/bytes.h"
#include "simulator/link/frame_fault.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

enum class Direction { kToHost = 0, kToGauge = 1 };

// What the line does to each byte of one direction.
struct DirectionFault {
  double flip_probability = 0.0;  // of one of its eight bits turning over
  double drop_probability = 0.0;  // of its being lost
  friend bool operator==(const DirectionFault&, const DirectionFault&) = default;
};

struct LineFaultSettings {
  DirectionFault to_host;
  DirectionFault to_gauge;
  FrameFaultSettings frames = {};  // to the host
  friend bool operator==(const LineFaultSettings&, const LineFaultSettings&) = default;
};

// Damages by a seeded stream of random numbers per direction: the same bytes under the same settings come out
// the same, however they were cut into portions.
class LineFault {
 public:
  explicit LineFault(std::uint64_t seed);

  Bytes pass(ByteView bytes, Direction direction, const LineFaultSettings& settings);

 private:
  RandomStream to_host_random_;
  RandomStream to_gauge_random_;
};

}  // namespace crestgate::simulator
