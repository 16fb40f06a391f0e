// SPDX-License-Identifier: Apache-2.0
#pragma once
// The seam to whatever switches lights: digital lines, a relay box on a serial port, coils of an I/O block, or
// the guard process in front of one of them.

#include <span>
#include <string_view>

#include "base/result.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

// Purpose  holds a row of lights at the states it was last told.
// Threads  all calls on one thread; none blocks.
class LightDevice {
 public:
  virtual ~LightDevice() = default;

  [[nodiscard]] virtual std::string_view name() const = 0;  // for people: "digital lines of gpiochip0"

  // What becomes of a light that is on when our process dies without a word.
  [[nodiscard]] virtual SelfFall falls_by_itself() const = 0;

  // Shape    one entry per light of the device, in its order. Called on every refresh, changed or not.
  // Errors   kBusy: takes nothing just now; kIo, kDisconnected: it tries to come back by itself on later calls.
  virtual base::Result<Applied> set(std::span<const bool> lit) = 0;

  // All lights off as well as it can, and lets go. May be called again.
  virtual void stop() = 0;
};

}  // namespace crestgate::driver
