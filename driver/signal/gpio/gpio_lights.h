// SPDX-License-Identifier: Apache-2.0
#pragma once
// Lights on digital lines of a GPIO chip.
//
// What they do when we die: nothing is promised. The kernel gives a released line back to its driver, which may
// keep the last level, or let the pin float to whatever the board's resistors make of it. So these lines do
// not fall by themselves; wire a pull resistor that means "off", and put the guard (guarded_lights.h) or a
// watchdog relay in front of an accept.

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "base/result.h"
#include "driver/signal/lights/light_device.h"

namespace crestgate::driver {

enum class LineBias : std::uint8_t { kAsIs, kDisable, kPullUp, kPullDown };

struct GpioLine {
  std::string line;         // its name, or its number on the chip when there are only digits
  bool active_low = false;  // lit when the pin is low
};

struct GpioLightsOptions {
  std::string
      chip;  // a path ("/dev/gpiochip0"), a name ("gpiochip0": may be another one tomorrow) or a label
  std::vector<GpioLine> lines;  // one per light
  LineBias bias = LineBias::kAsIs;
};

// Errors  kInvalidConfig: no chip named, no line or more than kMostLights, a line without a name or named twice.
[[nodiscard]] base::Outcome check_gpio_lights(const GpioLightsOptions& options);

// Purpose  a device that opens the chip with its first set() and takes the lines for itself, switched off.
// Method   off is set before on, only what has changed; then every line is read back: kConfirmed. After an error
//          all lines are switched off and released; the chip is opened again (lines off) with the next set(),
//          and nothing is lit for a second, so that a fault does not make a flicker.
// Errors   those of check_gpio_lights. set(): kNotFound: no such chip or line. kBusy: somebody else uses the
//          line. kRefused: no permission. kInvalidConfig: the path is no GPIO chip; a name that two lines
//          have; two lights on one line. kIo: a line does not take its level, or does not read as it was set.
// Time     some microseconds, except for opening by label, which looks at every chip.
[[nodiscard]] base::Result<std::unique_ptr<LightDevice>> make_gpio_lights(GpioLightsOptions options);

}  // namespace crestgate::driver
