// SPDX-License-Identifier: Apache-2.0
#pragma once
// Characters in UTF-8 text.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace crestgate::base {

struct CodePoint {
  std::uint32_t value = 0;
  std::size_t length = 0;  // bytes; 0: what stands there is no UTF-8
};

// Purpose  the character at the start of `text`.
// Source   Unicode Standard 15.0, 3.9, table 3-7: no overlong forms, no surrogates, nothing above U+10FFFF.
constexpr CodePoint code_point_at(std::string_view text) {
  if (text.empty()) return {};
  const auto byte_at = [&text](std::size_t i) { return std::uint32_t{static_cast<unsigned char>(text[i])}; };
  const std::uint32_t first = byte_at(0);
  if (first < 0x80) return {.value = first, .length = 1};
  const std::size_t length = first < 0xC2 ? 0 : first < 0xE0 ? 2 : first < 0xF0 ? 3 : first < 0xF5 ? 4 : 0;
  if (length == 0 || text.size() < length) return {};
  std::uint32_t value = first & (0xFFU >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte_at(i) & 0xC0U) != 0x80U) return {};
    value = (value << 6U) | (byte_at(i) & 0x3FU);
  }
  constexpr std::array<std::uint32_t, 5> kLeast = {0, 0, 0x80, 0x800, 0x10000};
  const bool surrogate = value >= 0xD800 && value <= 0xDFFF;
  if (value < kLeast[length] || value > 0x10FFFF || surrogate) return {};
  return {.value = value, .length = length};
}

constexpr bool is_utf8(std::string_view text) {
  while (!text.empty()) {
    const CodePoint point = code_point_at(text);
    if (point.length == 0) return false;
    text.remove_prefix(point.length);
  }
  return true;
}

}  // namespace crestgate::base
