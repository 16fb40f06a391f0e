// SPDX-License-Identifier: Apache-2.0
#pragma once
// A Modbus TCP client on one connection that comes back: one request at a time, never blocking.
//
// libmodbus is not used on this side: its client blocks in connect, send and receive.

#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/modbus/modbus_answer.h"

namespace crestgate::driver {

struct ModbusClientOptions {
  std::string host;  // in numbers: looking a name up would block
  std::uint16_t port = 502;
  std::uint8_t unit = 1;  // 1 to 247 behind a gateway; 0 or 255: a device addressed by its IP alone
  std::chrono::milliseconds connect_timeout{1000};
  std::chrono::milliseconds response_timeout{300};
  std::chrono::milliseconds backoff_shortest{500};
  std::chrono::milliseconds backoff_longest{5000};
  unsigned unanswered_limit = 3;  // so many questions in a row without an answer end the connection
};

struct ModbusClientCounters {
  std::uint64_t connected = 0;
  std::uint64_t connect_failed = 0;
  std::uint64_t lost = 0;  // connections that ended, for whatever reason
  std::uint64_t answers = 0;
  std::uint64_t exceptions = 0;
  std::uint64_t unanswered = 0;
  std::uint64_t late = 0;  // answers that came after their question was given up
  std::uint64_t malformed = 0;
};

// Threads    all calls on the executor's one thread.
// Lifetime   must outlive every co_await on it: whoever awaits shares it. leave() lets all of them end.
// Time       deadlines are those of the monotonic clock.
// Promise    a connection that is given up is reset: what its peer has not received by then never arrives, so
//            that an old write cannot come after a newer one of the next connection.
class ModbusClient {
 public:
  // Errors  kInvalidConfig: the host is not an address in numbers, the unit is 248 to 254, or a time is not
  //         above 0.
  [[nodiscard]] static base::Result<std::unique_ptr<ModbusClient>> make(
      const boost::asio::any_io_executor& executor, const ModbusClientOptions& options);
  ModbusClient(const ModbusClient&) = delete;
  ModbusClient& operator=(const ModbusClient&) = delete;
  ModbusClient(ModbusClient&&) = delete;
  ModbusClient& operator=(ModbusClient&&) = delete;
  ~ModbusClient();

  // Purpose  waits out the back-off (none at first; reset by an answer), then tries once to connect.
  // Pre      not connected; nothing else is awaited here.
  // Errors   kNoReply: not connected in time. kDisconnected: refused, unreachable. kIo: no socket.
  //          kCancelled: leave() was called.
  [[nodiscard]] Awaitable<base::Outcome> connect();
  [[nodiscard]] bool connected() const;

  // Purpose  asks, and waits for the answer; a read's data as they stand on the wire, else nothing.
  // Pre      the question is within its function's limits; nothing else is awaited here.
  // Errors   kNoReply: no answer in time; the connection stays until unanswered_limit, and the answer is thrown
  //          away should it come. kDisconnected, kMalformed (any nonsense): the connection is gone.
  //          An exception, with its words: kNotSupported (1), kOutOfRange (2), kRefused (3 and unknown ones),
  //          kBusy (5, 6), kDeviceFault (4, 8), kNoReply (10, 11); the connection stays.
  //          kCancelled: leave() was called.
  [[nodiscard]] Awaitable<base::Result<std::vector<std::uint8_t>>> ask(ModbusQuestion question);

  // Purpose  for good: sends `last` at once, even while an answer is waited for, and ends all waiting. True:
  //          the kernel has it, so that it goes out even if nobody awaits finish(). May be called again.
  bool leave(const ModbusQuestion& last);

  // After leave(): waits for the last answer, not beyond response_timeout, and closes.
  [[nodiscard]] Awaitable<void> finish();

  [[nodiscard]] const std::string& name() const;  // "192.168.0.5:502 unit 1"
  [[nodiscard]] ModbusClientCounters counters() const;

 private:
  struct Parts;
  explicit ModbusClient(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

}  // namespace crestgate::driver
