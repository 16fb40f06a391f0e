// SPDX-License-Identifier: Apache-2.0
#pragma once
// Lights behind the guard: a small process of its own that owns the device and drops every light when we do not
// renew them. What it does, and every way in which it can end, stands at the head of guard_main.cpp.

#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "base/result.h"
#include "driver/signal/gpio/gpio_lights.h"
#include "driver/signal/lights/light_device.h"
#include "driver/signal/relay/relay_dialect.h"
#include "driver/stream/open_port.h"

namespace crestgate::driver {

// A relay or a tower on a serial port. The guard sends and does not read: answers, refreshing and the device's
// own watchdog play no part.
struct GuardedRelay {
  PortIdentity port;
  RelayDialect dialect;
};

struct GuardOptions {
  std::variant<GpioLightsOptions, GuardedRelay> device;
  std::string program;  // "": crestgate-guard beside our own program
};

// Purpose  whether the guard can serve this device.
// Errors   kInvalidConfig: those of check_gpio_lights and check_relay; a relay with two stop bits or RTS/CTS, with
//          commands over 64 bytes or more than one to begin with, which the guard does not know.
[[nodiscard]] base::Outcome check_guarded_lights(const GuardOptions& options);

// Purpose  the words after the program's name that stand for this device, `path` being the serial port's device:
//          for starting it, and for a stop hook ("off" before them).
// Pre      check_guarded_lights
[[nodiscard]] std::vector<std::string> guard_words(const GuardOptions& options, const std::string& path);

// Purpose  a device that starts the guard with its first set() and again whenever it is gone: after 200 ms; after
//          a second when one did not last five and nothing can be lit. Nothing is lit in the second after a loss.
// Method   every set() sends the lights with the time, which is the lease: 300 ms. The guard is in a session of
//          its own, with nothing of ours but the channel and stderr. One that owes its answers for 400 ms is
//          killed; the next one begins with all off.
// Answer   kConfirmed: the guard's last answer is what is asked now, and fresh. kSent: its answer is not due.
// Errors   those of check_guarded_lights. set(): kBusy: the guard starts, or owes its answers for 150 ms; kNotFound:
//          no such program or port; kDisconnected: it is gone, or was killed; kIo: it cannot switch the lights off,
//          and tries.
// Time     set() does not wait. stop() waits up to 400 ms for the guard to end, and kills it then; one that still
//          tries to switch off is left to it. When the guard ended without saying that all is off, `off` is
//          started in its place and given 100 ms; it goes on by itself. No child is left unreaped.
[[nodiscard]] base::Result<std::unique_ptr<LightDevice>> make_guarded_lights(GuardOptions options);

}  // namespace crestgate::driver
