// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the kernel reports while a keyboard types a text, written without the driver's table.

#include <cstdint>
#include <string_view>
#include <vector>

#include <linux/input.h>

namespace crestgate::tests {

inline input_event event_of(std::uint16_t type, std::uint16_t code, std::int32_t value) {
  input_event event{};
  event.type = type;
  event.code = code;
  event.value = value;
  return event;
}
inline input_event key_event(std::uint16_t code, std::int32_t value) { return event_of(EV_KEY, code, value); }
inline input_event press(std::uint16_t code) { return key_event(code, 1); }
inline input_event release(std::uint16_t code) { return key_event(code, 0); }
inline input_event report() { return event_of(EV_SYN, SYN_REPORT, 0); }
inline input_event lost() { return event_of(EV_SYN, SYN_DROPPED, 0); }

// Letters, digits, blank and - _ ; : followed by Enter, as a scanner does it: scan code, key, report, and shift
// held for single characters. Throws std::invalid_argument for anything else.
[[nodiscard]] std::vector<input_event> type(std::string_view text);
// The same without the Enter.
[[nodiscard]] std::vector<input_event> type_half(std::string_view text);

}  // namespace crestgate::tests
