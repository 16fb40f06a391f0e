// SPDX-License-Identifier: Apache-2.0
#pragma once
// The line to a PLC that is only a server itself: the cell's block is written into its holding registers, its
// own block is read from them.

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "base/cell_signal.h"
#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/modbus/modbus_client.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

struct PlcClientOptions {
  ModbusClientOptions peer;
  std::uint16_t cell_block = 0;            // first holding register of our 75, written with function 16
  std::optional<std::uint16_t> plc_block;  // first of the PLC's 64, read with function 3; absent: write only
  std::chrono::milliseconds every{100};
};

// Threads    all calls and callbacks on the executor's one thread.
// Method     the newest block goes out whole in one request, at every change at once (while an answer is
//            waited for: after it, at most response_timeout later) and else at least every `every`.
// Promise    the first block of each connection is a safe one: a state that apply() was given for a link that
//            was down is not shown when the link comes back, but at the next apply(). The sequence numbers at
//            both ends of the block tell a reader of the PLC's memory whether it is whole.
// Errors     apply(): kDisconnected while the link is down; what went wrong with the last write or read (no answer,
//            an exception in words) until one succeeds. kSent: the block will go out.
// stop()     sends one last safe block if the link stands, and closes when it is answered, at most
//            response_timeout later if the executor still runs then.
class PlcClient : public SignalOutput {
 public:
  [[nodiscard]] virtual ModbusClientCounters counters() const = 0;

  // What is wrong with the link just now, in either direction; nothing: blocks are written and read.
  [[nodiscard]] virtual std::optional<base::Error> trouble() const = 0;

  // Called with the PLC's block each time it was read, changed or not; never while the link is down: the
  // cell's own limit for the PLC's silence does the rest. The listener may call apply(); it must not destroy
  // the client. Replaces an earlier listener.
  virtual void on_inputs(std::function<void(const base::PlcInputs&)> listener) = 0;
};

// Errors  kInvalidConfig: as ModbusClient::make; a block that does not fit behind its address; blocks that
//         overlap; `every` not from 10 to 500 ms (the heartbeat must be seen to move within 2 s).
[[nodiscard]] base::Result<std::unique_ptr<PlcClient>> make_plc_client(
    const boost::asio::any_io_executor& executor, const PlcClientOptions& options);

}  // namespace crestgate::driver
