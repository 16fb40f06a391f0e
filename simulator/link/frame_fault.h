// SPDX-License-Identifier: Apache-2.0
#pragma once
// A line that mistreats whole frames on their way to the host.

#include <cstdint>
#include <vector>

#include "simulator/link/bytes.h"
#include "simulator/link/upset.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

// Of each frame.
struct FrameFaultSettings {
  double duplicate_probability = 0.0;
  double swap_probability = 0.0;
  double truncate_probability = 0.0;
  friend bool operator==(const FrameFaultSettings&, const FrameFaultSettings&) = default;
};

class FrameFault {
 public:
  explicit FrameFault(std::uint64_t seed) : random_(derive_seed(seed, "frames to host")) {}

  // The next frame is hit.
  // Pre     hits_a_frame(kind).
  void strike(Upset::Kind kind) { strikes_.push_back(kind); }

  // One whole frame in, what is left of it out; with it the one that waited for it.
  Bytes pass(ByteView frame, std::uint8_t type, const FrameFaultSettings& settings);

  // The port is another one: what was held back is gone.
  void reopen() { held_.clear(); }

 private:
  bool struck(Upset::Kind kind, double probability);

  RandomStream random_;
  std::vector<Upset::Kind> strikes_;
  Bytes held_;  // a frame that lets the next one pass
};

}  // namespace crestgate::simulator
