// SPDX-License-Identifier: Apache-2.0
#pragma once
// The PLC's line: a Modbus TCP server that shows the cell's block to everybody and takes one PLC's.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "base/cell_signal.h"
#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

struct ModbusServerOptions {
  std::string bind_address = "127.0.0.1";  // in numbers; Modbus has no password: the machine's network only
  std::uint16_t port = 502;                // 0: any free one (for tests)
  std::uint8_t unit_id = 1;  // 0 and 255 (a device that is addressed by its IP alone) are taken as well
  std::size_t connection_limit =
      16;  // one more closes the one that asked nothing for longest; the PLC's own last
  std::chrono::milliseconds frame_timeout{500};    // from the first byte of a request to its last
  std::chrono::milliseconds write_timeout{2000};   // a client that does not read its answers is closed
  std::vector<std::string> allowed_writers;        // addresses in numbers; empty: anybody
  std::chrono::milliseconds holder_silence{5000};  // a PLC that wrote nothing for longer lost the line
  std::chrono::milliseconds contest_shown{5000};   // PlcInputs::contested after another one's attempt
};

struct ModbusCounters {
  std::size_t connections = 0;  // now
  std::uint64_t accepted = 0;
  std::uint64_t closed_for_room = 0;
  std::uint64_t requests = 0;
  std::uint64_t writes = 0;
  std::uint64_t exceptions = 0;  // answered with an exception
  std::uint64_t bad_headers = 0;
  std::uint64_t frame_timeouts = 0;
  std::uint64_t write_timeouts = 0;
  std::uint64_t refused_other_holds = 0;  // writes: another address holds the line
  std::uint64_t refused_not_allowed = 0;  // not one of allowed_writers
};

// Threads    all calls and callbacks on the executor's one thread.
// Promise    each answer comes from one snapshot: apply() swaps the block whole. One client never delays
//            another.
// The line   the address whose write was carried out last holds it, through as many connections as it likes, until
//            it has none left or wrote nothing for holder_silence. Other addresses are refused with exception 6
//            (server device busy), one that is not allowed with exception 1. Reads are open to all.
class ModbusServer : public SignalOutput {
 public:
  [[nodiscard]] virtual std::uint16_t port() const = 0;  // the one that is bound
  [[nodiscard]] virtual ModbusCounters counters() const = 0;

  // The PLC's block as it stands.
  [[nodiscard]] virtual base::PlcInputs inputs() const = 0;

  // Called after each write request that was carried out, changed or not, before its answer is sent; and,
  // once there was one, when `contested` changes. The listener may call apply(); it must not destroy the
  // server. Replaces an earlier listener.
  virtual void on_inputs(std::function<void(const base::PlcInputs&)> listener) = 0;
};

// Errors  kInvalidConfig: the address is not one in numbers. kBusy: the port is taken. kRefused: no right to
//         bind it (ports below 1024). kIo: anything else.
[[nodiscard]] base::Result<std::unique_ptr<ModbusServer>> open_modbus_server(
    const boost::asio::any_io_executor& executor, const ModbusServerOptions& options);

}  // namespace crestgate::driver
