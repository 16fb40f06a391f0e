// SPDX-License-Identifier: Apache-2.0
#pragma once
// A serial port or a pseudo-terminal as a ByteStream.

#include <cstdint>
#include <memory>
#include <string>

#include "base/result.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

enum class Parity : std::uint8_t { kNone, kEven, kOdd };

struct SerialOptions {
  std::uint32_t baud = 115200;
  Parity parity = Parity::kNone;
  bool two_stop_bits = false;
  bool rts_cts = false;  // hardware handshake; needs a cable with those wires
};

// Purpose  opens `path` raw (8 data bits, no character has a meaning, reads wait for one byte), for us alone,
//          and checks that the driver really took the settings. Never blocks; not inherited by children.
// Errors   kNotFound: no such device. kBusy: another program has it open. kRefused: no permission.
//          kInvalidConfig: not a serial port, or a rate that this system does not know. kIo: anything else,
//          settings that the driver silently refused included.
// Method   the port is locked by flock (holds between our own processes, root included) and TIOCEXCL (keeps
//          unprivileged strangers out). TIOCEXCL is given back before closing, and not set on a
//          pseudo-terminal: there the flag outlives a killed process as long as the other end lives.
[[nodiscard]] base::Result<std::unique_ptr<ByteStream>> open_serial(
    const boost::asio::any_io_executor& executor, const std::string& path, const SerialOptions& options);

}  // namespace crestgate::driver
