// SPDX-License-Identifier: Apache-2.0
#include "typist.h"

#include <cctype>
#include <stdexcept>
#include <string>

namespace crestgate::tests {
namespace {

void strike(std::vector<input_event>& events, std::uint16_t code) {
  for (const std::int32_t value : {1, 0}) {
    events.push_back(event_of(EV_MSC, MSC_SCAN, code));
    events.push_back(key_event(code, value));
    events.push_back(report());
  }
}

// Rows of the keyboard, each from its first key code on.
std::uint16_t code_of(char character) {
  struct Row {
    std::uint16_t first_code;
    std::string_view keys;
  };
  for (const Row& row : {Row{KEY_1, "1234567890-"}, Row{KEY_Q, "qwertyuiop"}, Row{KEY_A, "asdfghjkl;"},
                         Row{KEY_Z, "zxcvbnm"}, Row{KEY_SPACE, " "}}) {
    const std::size_t at = row.keys.find(character);
    if (at != std::string_view::npos) return static_cast<std::uint16_t>(row.first_code + at);
  }
  throw std::invalid_argument(std::string("the typist does not know ") + character);
}

}  // namespace

std::vector<input_event> type_half(std::string_view text) {
  std::vector<input_event> events;
  for (const char character : text) {
    const bool upper = std::isupper(static_cast<unsigned char>(character)) != 0;
    const bool shift = upper || character == '_' || character == ':';
    const auto lower = static_cast<char>(std::tolower(static_cast<unsigned char>(character)));
    const char key = character == '_' ? '-' : character == ':' ? ';' : lower;
    if (shift) events.insert(events.end(), {press(KEY_LEFTSHIFT), report()});
    strike(events, code_of(key));
    if (shift) events.insert(events.end(), {release(KEY_LEFTSHIFT), report()});
  }
  return events;
}

std::vector<input_event> type(std::string_view text) {
  auto events = type_half(text);
  strike(events, KEY_ENTER);
  return events;
}

}  // namespace crestgate::tests
