// SPDX-License-Identifier: Apache-2.0
#pragma once
// Lights on the coils of a Modbus TCP I/O block.

#include <chrono>
#include <cstdint>
#include <memory>

#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/lights/light_device.h"
#include "driver/signal/modbus/modbus_client.h"

namespace crestgate::driver {

struct CoilLightsOptions {
  ModbusClientOptions peer;
  std::uint16_t first_coil = 0;
  std::uint16_t lights = 0;  // consecutive coils, 1 to 64
  // The block's own communication watchdog, as the site states it: it switches its outputs off when it has
  // heard nothing for so long. 0: it has none, and keeps a light on for ever.
  std::chrono::milliseconds falls_after{0};
  std::chrono::milliseconds refresh{200};  // made shorter for a quick watchdog, so that it hears us thrice
  std::chrono::milliseconds told_within{1000};  // lights that set() did not ask for again in time go off
};

struct CoilLightsCounters {
  std::uint64_t writes = 0;      // sent
  std::uint64_t confirmed = 0;   // read back as written
  std::uint64_t mismatches = 0;  // read back otherwise
};

// Threads    all calls on the executor's one thread.
// Method     set() remembers; a coroutine writes all coils in one request (function 15), at every change at once
//            (while an answer is waited for: after it) and at least every `refresh`, and reads them back
//            (function 1). The newest wins. A change that puts some lights off and others on is two writes: off
//            first. After any doubt (a new connection, no answer, an exception) everything off is written and
//            confirmed before anything is lit.
// Mismatch   everything off is written, and nothing is lit again before that is confirmed and set() asks for
//            something else than what went wrong: a light that is tried again and again is a light that
//            flashes.
// Errors     set(): kDisconnected while the link is down; kDeviceFault after a mismatch; otherwise what went
//            wrong last, until a write is confirmed. kConfirmed: read back, at most two refreshes ago. kSent: on
//            its way.
// stop()     sends everything off if the link stands, and closes when it is answered.
class CoilLights : public LightDevice {
 public:
  [[nodiscard]] virtual CoilLightsCounters counters() const = 0;
  [[nodiscard]] virtual ModbusClientCounters line_counters() const = 0;
};

// Errors  kInvalidConfig: as ModbusClient::make; no lights or more than 64; coils beyond address 65535; a
//         watchdog that is not 0 or 150 to 5000 ms (slower is no protection, quicker would fall between two
//         refreshes); times not above 0.
[[nodiscard]] base::Result<std::unique_ptr<CoilLights>> make_coil_lights(
    const boost::asio::any_io_executor& executor, const CoilLightsOptions& options);

}  // namespace crestgate::driver
