// SPDX-License-Identifier: Apache-2.0
#pragma once
// The coroutine that keeps one relay as it is wanted; relay_lights.h is its face.

#include <array>
#include <chrono>
#include <memory>
#include <optional>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/steady_timer.hpp>

#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/signal/lights/light_device.h"
#include "driver/signal/relay/relay_dialect.h"
#include "driver/stream/open_port.h"

namespace crestgate::driver {

constexpr std::chrono::milliseconds kWishLasts{300};  // after it was last told

// Shared by the device and its coroutines, which may outlive it.  Threads  the executor's one thread
struct RelayState {
  using Clock = std::chrono::steady_clock;

  RelayState(const boost::asio::any_io_executor& on, PortOptions at, RelayDialect spoken)
      : port(std::move(at)), dialect(std::move(spoken)), executor(on), wake(on), rest(on) {}

  [[nodiscard]] bool wants(std::size_t light, Clock::time_point now) const {
    return !stopped && wanted.at(light) && now - told < kWishLasts;
  }

  PortOptions port;
  RelayDialect dialect;
  boost::asio::any_io_executor executor;
  boost::asio::steady_timer wake;  // there may be something to send
  boost::asio::steady_timer rest;  // before the port is opened again

  std::array<bool, kMostLights> wanted{};
  Clock::time_point told;                                // when `wanted` was last said
  std::array<std::optional<bool>, kMostLights> shown{};  // sent, and answered where an answer is due
  std::array<bool, kMostLights> owed{};                  // to be sent again, changed or not
  bool ready = false;                                    // it is open, and everything was switched off
  std::optional<base::Error> trouble;                    // why it is not
  std::shared_ptr<ByteStream> stream;                    // shared with a write that is under way
  bool writing = false;
  bool stopped = false;
};
using RelayPtr = std::shared_ptr<RelayState>;

// What has to be sent next, if anything: off before on.
struct RelayStep {
  std::size_t light = 0;
  bool on = false;
};
[[nodiscard]] std::optional<RelayStep> next_step(const RelayState& relay, RelayState::Clock::time_point now);

// Purpose  opens, keeps the lights as wanted, and opens again, until it is stopped.
[[nodiscard]] Awaitable<void> keep_relay(RelayPtr relay);

// Purpose  sends everything off without waiting for answers, then closes the port. The bytes go out before it
//          waits for anything. Does nothing while a write is under way: whoever writes comes here next.
[[nodiscard]] Awaitable<void> leave_relay_off(RelayPtr relay);

}  // namespace crestgate::driver
