// SPDX-License-Identifier: Apache-2.0
#pragma once
// Lights on a relay box or a tower that understands lines of text on a serial port (or behind a serial server).

#include <memory>

#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/lights/light_device.h"
#include "driver/signal/relay/relay_dialect.h"
#include "driver/stream/open_port.h"

namespace crestgate::driver {

// Purpose  a device that opens the port by itself, and again a second after it was lost. `port.serial` is taken
//          from the dialect.
// Method   set() only says what is wanted. A coroutine sends: on opening the reset commands, then every light
//          off, and only then anything on. One command at a time; the newest wish counts; whatever must go off
//          goes first. A reply that is late, missing or another one ends the connection, after everything off
//          was sent without waiting. A light stays wanted for 300 ms after a set(): when the cycle stops, the
//          lights go off, and without a refresh in between.
// Answer   kConfirmed: the device has answered to all that is wanted. kSent: handed over; the answers are not
//          due, or the dialect has none.
// Errors   those of check_relay. set(): kBusy: not open yet; kDisconnected, kNoReply, kMalformed (another reply)
//          and those of open_port: the connection was lost, until it is there again.
// Time     stop() sends everything off before it returns, unless a write is under way or it is called outside of
//          the executor; the rest is then done as long as the executor runs.
// Threads  the executor's one thread.
[[nodiscard]] base::Result<std::unique_ptr<LightDevice>> make_relay_lights(
    const boost::asio::any_io_executor& executor, PortOptions port, RelayDialect dialect);

}  // namespace crestgate::driver
