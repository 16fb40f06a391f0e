// SPDX-License-Identifier: Apache-2.0
#pragma once
// The gauge in real time: a port, a clock and a control port around the pure line.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include "base/clock.h"
#include "base/result.h"
#include "simulator/link/line.h"

namespace crestgate::simulator {

struct ServeOptions {
  std::optional<std::string> pty_path;        // one of these two
  std::optional<std::uint16_t> tcp_port;      // loopback; 0: any
  std::optional<std::uint16_t> control_port;  // loopback; 0: any; absent: none
};

struct ServeEvents {
  // What is served where: the name of the gauge's port, the control port if there is one.
  std::function<void(const std::string& port, std::optional<std::uint16_t> control_port)> on_ready;
  std::function<std::string(std::string_view command)> answer;  // of the control port, without line ends
  std::function<bool()> quit_wanted;                            // asked after each answer
};

// The clock that serve() hands to the line: make the gauge with it.
base::MonotonicInstant serving_clock();

// Purpose  serves until SIGTERM, SIGINT or a command that makes quit_wanted() true. The port's link is gone
//          then.
// Threads  everything runs on the calling thread.
// Errors   kIo, kBusy: a port cannot be opened.
base::Outcome serve(Line& line, const ServeOptions& options, const ServeEvents& events);

}  // namespace crestgate::simulator
