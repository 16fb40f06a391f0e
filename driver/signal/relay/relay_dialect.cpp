// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/relay/relay_dialect.h"

#include <cstddef>
#include <set>
#include <utility>

#include "driver/signal/lights/light_device.h"

namespace crestgate::driver {
namespace {

base::Error invalid(const RelayDialect& dialect, const std::string& detail) {
  return {base::ErrorCode::kInvalidConfig, "relay dialect '" + dialect.name + "': " + detail};
}

std::string in_ms(std::chrono::milliseconds time) { return std::to_string(time.count()) + " ms"; }

base::Outcome check_times(const RelayDialect& dialect) {
  using std::chrono::milliseconds;
  if (dialect.reply_timeout <= milliseconds(0) || dialect.reply_timeout > kLongestReply) {
    return invalid(dialect, "expected a reply timeout of 1 to " + in_ms(kLongestReply) + ", found " +
                                in_ms(dialect.reply_timeout));
  }
  if (dialect.refresh < milliseconds(0) || dialect.falls_after < milliseconds(0))
    return invalid(dialect, "a time cannot be negative");
  if (dialect.falls_after > milliseconds(0) &&
      (dialect.refresh == milliseconds(0) || dialect.refresh * 2 > dialect.falls_after)) {
    return invalid(dialect, "the device drops its lights after " + in_ms(dialect.falls_after) +
                                " without a refresh: expected a refresh of at most half of that, found " +
                                in_ms(dialect.refresh));
  }
  return base::Done{};
}

}  // namespace

base::Outcome check_relay(const RelayDialect& dialect) {
  if (dialect.lights.empty() || dialect.lights.size() > kMostLights) {
    return invalid(dialect, "expected 1 to " + std::to_string(kMostLights) + " lights, found " +
                                std::to_string(dialect.lights.size()));
  }
  if (dialect.line_end.empty()) return invalid(dialect, "there is no line end");
  std::set<std::string> commands;
  for (std::size_t i = 0; i < dialect.lights.size(); ++i) {
    const RelayLight& light = dialect.lights[i];
    const auto wrong = [&](std::string what) {
      return invalid(dialect, "light " + std::to_string(i + 1) + ": " + std::move(what));
    };
    for (const std::string& command : {light.on, light.off}) {
      if (command.empty()) return wrong("a command is empty");
      if (!commands.insert(command).second) return wrong("the command '" + command + "' is there twice");
    }
    for (const std::string& line : {light.on, light.off, light.reply}) {
      if (line.find(dialect.line_end) != std::string::npos)
        return wrong("the line end stands within '" + line + "'");
    }
  }
  for (const std::string& command : dialect.reset) {
    if (command.empty()) return invalid(dialect, "a reset command is empty");
  }
  return check_times(dialect);
}

SelfFall relay_fall(const RelayDialect& dialect) {
  if (dialect.falls_after == std::chrono::milliseconds(0)) {
    return {false, "a relay of the kind '" + dialect.name + "' holds its last state when the process dies"};
  }
  const std::string time = in_ms(dialect.falls_after);
  if (dialect.falls_after > kLongestFall) {
    return {false, "the watchdog of a relay of the kind '" + dialect.name + "' takes " + time +
                       " to drop its lights, which is too long"};
  }
  return {true, "the device's own watchdog drops it " + time + " after the last refresh"};
}

}  // namespace crestgate::driver
