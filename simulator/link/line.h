// SPDX-License-Identifier: Apache-2.0
#pragma once
// The gauge behind its line: damage, pace, silence and unplugging around the byte stream. Pure, like the
// gauge.

#include <cstdint>
#include <optional>

#include "base/clock.h"
#include "simulator/link/bytes.h"
#include "simulator/link/frame_fault.h"
#include "simulator/link/gauge.h"
#include "simulator/link/line_fault.h"
#include "simulator/link/line_pace.h"

namespace crestgate::simulator {

struct LineOptions {
  std::optional<std::uint32_t> baud;  // absent: bytes pass at once
  std::uint64_t seed = 0;             // of the damage
};

struct LineStep {
  Bytes bytes;          // to the host
  bool plugged = true;  // false: the port is to be closed until it is true again
  Replug replug = {};   // how, when it is
  bool reading = true;  // false: the gauge hangs, what the host sends is to be left where it is
};

class Line {
 public:
  // Lifetime  `gauge` and `source` outlive the line.
  Line(Gauge& gauge, const TraverseSource& source, const LineOptions& options);

  // Pre     `now` does not go backwards.
  LineStep step(ByteView arrived, base::MonotonicInstant now);

  [[nodiscard]] base::MonotonicInstant next_due() const;

  // A host opened the port: what was on its way is gone, the gauge begins with a zero.
  void port_opened();

  // True while somebody has spoken within the last three seconds, so that waiting bytes have a reader.
  [[nodiscard]] bool host_heard(base::MonotonicInstant now) const;

 private:
  [[nodiscard]] bool dead(base::MonotonicInstant now) const;
  void carry(const GaugeStep& said, const LineFaultSettings& faults, base::MonotonicInstant now);
  void meet(const LineUpset& happened, base::MonotonicInstant now);
  void end_slowness(base::MonotonicInstant now);
  void release(base::MonotonicInstant now);

  Gauge& gauge_;
  const TraverseSource& source_;
  LineFault fault_;
  FrameFault frame_fault_;
  std::optional<std::uint32_t> baud_;
  LinePace pace_;
  Bytes released_;  // in this step
  std::optional<base::MonotonicInstant> slow_until_;
  base::MonotonicInstant silent_until_;
  base::MonotonicInstant unplugged_until_;
  bool unplugged_ = false;  // as the last step said
  Replug replug_;           // of the last unplugging
};

}  // namespace crestgate::simulator
