// SPDX-License-Identifier: Apache-2.0
#pragma once
// One open byte channel to one device: serial port, pseudo-terminal, TCP bridge or in-memory pipe.

#include <chrono>
#include <cstddef>
#include <span>
#include <string>

#include "base/result.h"
#include "driver/asio_forward.h"

namespace crestgate::driver {

using Deadline = std::chrono::steady_clock::time_point;

// Ownership  the session that opened it; not shared.
// Threads    all calls on the executor it was made with.
// Lifetime   `bytes` and `into` must outlive the co_await that uses them. The stream itself may be destroyed
//            while a call waits: that call then ends with kDisconnected.
// Calls      at most one write and one read_some wait at the same time.
// Errors     kNoReply: the deadline passed. kDisconnected: the channel is gone (end of file, EIO, ENODEV,
//            ENXIO, EBADF, connection reset, or close() was called) and will not come back by itself. kIo:
//            anything else.
class ByteStream {
 public:
  virtual ~ByteStream() = default;

  // Sends all of `bytes` or fails; after a failure any part of them may have been sent. Never retries.
  [[nodiscard]] virtual Awaitable<base::Outcome> write(std::span<const std::byte> bytes,
                                                       Deadline deadline) = 0;

  // Waits for at least one byte; returns how many were stored in `into` (1 to into.size()). Nothing that
  // arrived is lost when the deadline passes. Pre  `into` is not empty.
  [[nodiscard]] virtual Awaitable<base::Result<std::size_t>> read_some(std::span<std::byte> into,
                                                                       Deadline deadline) = 0;

  // Throws away input that arrived but was not read. Never waits.
  virtual void discard_input() = 0;

  // Lets go of the device; waiting calls end with kDisconnected. May be called again.
  virtual void close() = 0;

  // For messages: "/dev/ttyUSB0", "tcp:10.0.0.7:4001".
  [[nodiscard]] virtual std::string describe() const = 0;
};

}  // namespace crestgate::driver
