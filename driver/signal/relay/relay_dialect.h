// SPDX-License-Identifier: Apache-2.0
#pragma once
// How a relay box or a light tower on a serial port is spoken to: lines of text, described and not programmed.

#include <chrono>
#include <string>
#include <vector>

#include "base/result.h"
#include "driver/signal/signal_output.h"
#include "driver/stream/serial_stream.h"

namespace crestgate::driver {

// Without line end.
struct RelayLight {
  std::string on;
  std::string off;
  std::string reply;  // the whole line that answers either of them; "": it does not answer
};

struct RelayDialect {
  std::string name;  // of the kind of device, for people
  SerialOptions serial;
  std::string line_end = "\r\n";  // after each command, and after each reply; bytes of any kind
  std::vector<RelayLight> lights;
  std::vector<std::string> reset;                // sent first on every opening
  std::chrono::milliseconds reset_pause{100};    // after them; what arrives meanwhile is passed over
  std::chrono::milliseconds reply_timeout{100};  // from a command to the end of its reply
  std::chrono::milliseconds refresh{0};          // all states are sent again this often; 0: on change only
  std::chrono::milliseconds falls_after{
      0};  // without a refresh the device drops its lights; 0: it holds them
};

constexpr std::chrono::milliseconds kLongestReply{300};  // an off may have to wait that long
constexpr std::chrono::milliseconds kLongestFall{1000};  // a green may stand that long without us

// Errors  kInvalidConfig: no light or more than kMostLights; an empty or doubled command; an on that is an off;
//         no line end; a line end within a command or a reply; a reply timeout of 0 or above kLongestReply; a
//         device that falls, with refreshes that are not at least twice as frequent; a negative time.
[[nodiscard]] base::Outcome check_relay(const RelayDialect& dialect);

// Falls only where the device's own watchdog does it within kLongestFall.
[[nodiscard]] SelfFall relay_fall(const RelayDialect& dialect);

}  // namespace crestgate::driver
