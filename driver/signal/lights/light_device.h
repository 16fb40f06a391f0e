// SPDX-License-Identifier: Apache-2.0
#pragma once
// The seam to whatever switches lights: digital lines, a relay box on a serial port, coils of an I/O block, or
// the guard process in front of one of them.

#include <cstddef>
#include <span>
#include <string_view>

#include "base/result.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

constexpr std::size_t kMostLights = 16;  // of one device

// Purpose  holds a row of lights at the states it was last told.
// Threads  all calls on one thread; none blocks.
class LightDevice {
 public:
  virtual ~LightDevice() = default;

  [[nodiscard]] virtual std::string_view name() const = 0;  // for people: "digital lines of gpiochip0"

  // What becomes of a light that is on when our process dies without a word.
  [[nodiscard]] virtual SelfFall falls_by_itself() const = 0;

  [[nodiscard]] virtual std::size_t light_count() const = 0;

  // Shape    one entry per light of the device, in its order. Called on every refresh, changed or not.
  // Answer   kConfirmed: the lights were read back, or the device has answered, and all are as told.
  //          kSent: handed over; the answer is not due yet, or there never is one.
  // Errors   kBusy: takes nothing just now (it starts, or owes its answers for too long); kIo, kDisconnected:
  //          something is wrong with it; kRefused, kNotFound, kInvalidConfig: it cannot be opened. It tries to
  //          come back by itself on later calls, and begins with everything off. kCancelled: after stop().
  virtual base::Result<Applied> set(std::span<const bool> lit) = 0;

  // All lights off as well as it can, and lets go. May be called again.
  virtual void stop() = 0;
};

}  // namespace crestgate::driver
