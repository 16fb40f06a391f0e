// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/readable_text.h"

#include <array>
#include <cstddef>
#include <cstdio>

namespace crestgate::driver {
namespace {

// A row of table 3-7: the first byte, the range of the second; any later byte is 80 to BF.
struct Sequence {
  unsigned first_low;
  unsigned first_high;
  unsigned second_low;
  unsigned second_high;
  std::size_t length;
};
constexpr std::array kSequences = {
    Sequence{0x20, 0x7E, 0x00, 0x00, 1},  // without the controls
    Sequence{0xC2, 0xC2, 0xA0, 0xBF, 2},  // without U+0080 to U+009F
    Sequence{0xC3, 0xDF, 0x80, 0xBF, 2}, Sequence{0xE0, 0xE0, 0xA0, 0xBF, 3},
    Sequence{0xE1, 0xEC, 0x80, 0xBF, 3}, Sequence{0xED, 0xED, 0x80, 0x9F, 3},
    Sequence{0xEE, 0xEF, 0x80, 0xBF, 3}, Sequence{0xF0, 0xF0, 0x90, 0xBF, 4},
    Sequence{0xF1, 0xF3, 0x80, 0xBF, 4}, Sequence{0xF4, 0xF4, 0x80, 0x8F, 4},
};

// How many bytes the character at the start of `text` takes; 0: it is none.
std::size_t character_at(std::string_view text) {
  const auto in_range = [&text](std::size_t i, unsigned low, unsigned high) {
    if (i >= text.size()) return false;
    const unsigned byte = static_cast<unsigned char>(text[i]);
    return byte >= low && byte <= high;
  };
  for (const Sequence& sequence : kSequences) {
    if (!in_range(0, sequence.first_low, sequence.first_high)) continue;
    if (sequence.length > 1 && !in_range(1, sequence.second_low, sequence.second_high)) return 0;
    for (std::size_t i = 2; i < sequence.length; ++i) {
      if (!in_range(i, 0x80, 0xBF)) return 0;
    }
    return sequence.length;
  }
  return 0;
}

}  // namespace

std::optional<std::string> unreadable_because(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t length = character_at(text.substr(at));
    if (length == 0) {
      std::array<char, 96> reason{};
      std::snprintf(reason.data(), reason.size(), "byte %zu of %zu is 0x%02X, which is no printable text",
                    at + 1, text.size(), static_cast<unsigned>(static_cast<unsigned char>(text[at])));
      return reason.data();
    }
    at += length;
  }
  return std::nullopt;
}

}  // namespace crestgate::driver
