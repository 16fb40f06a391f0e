// SPDX-License-Identifier: Apache-2.0
// What the guard is told on its command line (guard_main.cpp), and what it cannot be told.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "driver/signal/guard/guarded_lights.h"

namespace crestgate::driver {
namespace {

constexpr std::size_t kLongestCommand = 64;  // bytes, as in guard_device.cpp

// What this one does not know of a serial port's settings would be set wrongly and without a word.
base::Outcome check_relay_for_guard(const RelayDialect& dialect) {
  if (auto checked = check_relay(dialect); !checked) return checked;
  const auto invalid = [&dialect](const char* what) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "relay dialect '" + dialect.name + "': the guard " + what};
  };
  if (dialect.serial.two_stop_bits) return invalid("knows one stop bit only");
  if (dialect.serial.rts_cts) return invalid("knows no RTS/CTS handshake");
  if (dialect.reset.size() > 1) return invalid("sends one reset command at most");
  std::vector<std::string> commands = dialect.reset;
  for (const RelayLight& light : dialect.lights) commands.insert(commands.end(), {light.on, light.off});
  for (const std::string& command : commands) {
    if (command.size() + dialect.line_end.size() > kLongestCommand)
      return invalid("sends commands of up to 64 bytes, line end included");
  }
  return base::Done{};
}

std::string in_hex(const std::string& bytes) {
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string text;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    text += {kDigits[byte >> 4U], kDigits[byte & 15U]};
  }
  return text;
}

std::vector<std::string> words_of(const GpioLightsOptions& gpio) {
  std::string lines;
  for (const GpioLine& line : gpio.lines)
    lines += (lines.empty() ? "" : ",") + std::string(line.active_low ? "!" : "") + line.line;
  std::vector<std::string> words{"gpio", gpio.chip, lines};
  if (gpio.bias == LineBias::kPullUp) words.emplace_back("pull-up");
  if (gpio.bias == LineBias::kPullDown) words.emplace_back("pull-down");
  if (gpio.bias == LineBias::kDisable) words.emplace_back("no-pull");
  return words;
}

std::vector<std::string> words_of(const RelayDialect& dialect, const std::string& path) {
  std::string baud = std::to_string(dialect.serial.baud);
  if (dialect.serial.parity == Parity::kEven) baud += "e";
  if (dialect.serial.parity == Parity::kOdd) baud += "o";
  std::vector<std::string> words{"serial", path, baud};
  for (const std::string& command : dialect.reset)
    words.push_back("first=" + in_hex(command + dialect.line_end));
  for (const RelayLight& light : dialect.lights)
    words.push_back(in_hex(light.on + dialect.line_end) + ":" + in_hex(light.off + dialect.line_end));
  return words;
}

}  // namespace

base::Outcome check_guarded_lights(const GuardOptions& options) {
  if (const auto* relay = std::get_if<GuardedRelay>(&options.device))
    return check_relay_for_guard(relay->dialect);
  const auto& gpio = std::get<GpioLightsOptions>(options.device);
  for (const GpioLine& line : gpio.lines) {
    if (line.line.find(',') != std::string::npos || line.line.starts_with('!')) {
      return base::Error{
          base::ErrorCode::kInvalidConfig,
          "line '" + line.line + "': the guard cannot be told this name; use the line's number"};
    }
  }
  return check_gpio_lights(gpio);
}

std::vector<std::string> guard_words(const GuardOptions& options, const std::string& path) {
  if (const auto* gpio = std::get_if<GpioLightsOptions>(&options.device)) return words_of(*gpio);
  return words_of(std::get<GuardedRelay>(options.device).dialect, path);
}

}  // namespace crestgate::driver
