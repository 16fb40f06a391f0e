// SPDX-License-Identifier: Apache-2.0
#pragma once
// The cell's state on a row of lights or digital lines, whatever switches them.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/result.h"
#include "driver/signal/lights/light.h"
#include "driver/signal/lights/light_device.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

// How an accept goes out.
enum class GreenCarried : std::uint8_t {
  kSteady,  // on while it stands
  kPulses,  // 100 ms on, 100 ms off while it stands, for a retriggerable watchdog relay that carries the green
};

struct LightsOptions {
  std::string name = "lights";  // of the output, in messages
  GreenCarried green = GreenCarried::kSteady;
};

// Purpose  whether these lights may be shown on a device that falls as `device` says. Pure.
// Errors   kInvalidConfig: no light or more than kMostLights; a light without a label; two with the same label;
//          an accept that flashes; an accept on a device that would keep it lit when our process dies, and not
//          pulsed.
[[nodiscard]] base::Outcome check_lights(std::span<const Light> lights, const SelfFall& device,
                                         GreenCarried green);

// Purpose  an output over `device`: each light is lit, flashes (1 Hz, half on, lit first) or is pulsed (lit
//          first) as the signal says.
// Method   flashes and pulses are moved on by apply() alone. No timer of its own: when the cycle stops, so does
//          the train. One that calls more rarely than every 100 ms makes no train that a relay would hold on.
// Lifetime `clock` outlives the output.
// Errors   those of check_lights; kInvalidConfig as well when the device has another number of lights.
//          apply(): those of the device, with the output's name.
[[nodiscard]] base::Result<std::unique_ptr<SignalOutput>> make_lights_output(
    std::vector<Light> lights, std::unique_ptr<LightDevice> device, LightsOptions options,
    const base::Clock& clock);

}  // namespace crestgate::driver
