// SPDX-License-Identifier: Apache-2.0
#pragma once
// A time from a description as people write it.

#include <cstdint>
#include <string>

namespace crestgate::report {

// "30 s", "2.5 s", "0.25 s"; exact.
inline std::string seconds_text(std::uint64_t milliseconds) {
  std::string text = std::to_string(milliseconds / 1000);
  std::uint64_t rest = milliseconds % 1000;
  if (rest != 0) {
    text += '.';
    for (std::uint64_t digit = 100; rest != 0; digit /= 10) {
      text += std::to_string(rest / digit);
      rest %= digit;
    }
  }
  return text + " s";
}

}  // namespace crestgate::report
