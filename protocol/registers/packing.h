// SPDX-License-Identifier: Apache-2.0
#pragma once
// Values into registers and back, in the word order that register_map.h states.

#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

namespace crestgate::registers {

// Pre  `into` and `from` have at least two registers for 32-bit values.
inline void put_u32(std::span<std::uint16_t> into, std::uint32_t value) {
  into[0] = static_cast<std::uint16_t>(value >> 16U);
  into[1] = static_cast<std::uint16_t>(value & 0xFFFFU);
}
inline void put_i32(std::span<std::uint16_t> into, std::int32_t value) {
  put_u32(into, static_cast<std::uint32_t>(value));
}
inline void put_f32(std::span<std::uint16_t> into, float value) {
  put_u32(into, std::bit_cast<std::uint32_t>(value));
}
inline std::uint32_t get_u32(std::span<const std::uint16_t> from) {
  return (std::uint32_t{from[0]} << 16U) | from[1];
}
inline std::int32_t get_i32(std::span<const std::uint16_t> from) {
  return static_cast<std::int32_t>(get_u32(from));
}
inline float get_f32(std::span<const std::uint16_t> from) { return std::bit_cast<float>(get_u32(from)); }

// Fills all of `into`; text that does not fit is cut. Bytes outside printable ASCII become '?'.
inline void put_text(std::span<std::uint16_t> into, std::string_view text) {
  const auto character = [&](std::size_t i) -> std::uint16_t {
    if (i >= text.size()) return 0;
    const auto byte = static_cast<unsigned char>(text[i]);
    return (byte < 0x20 || byte > 0x7E) ? std::uint16_t{'?'} : std::uint16_t{byte};
  };
  for (std::size_t i = 0; i < into.size(); ++i) {
    into[i] = static_cast<std::uint16_t>((character(2 * i) << 8U) | character(2 * i + 1));
  }
}

// Reads up to the first NUL; trailing blanks are dropped; bytes outside printable ASCII become '?'.
inline std::string get_text(std::span<const std::uint16_t> from) {
  std::string text;
  for (std::size_t i = 0; i < 2 * from.size(); ++i) {
    const unsigned word = from[i / 2];
    const unsigned byte = (i % 2 == 0) ? word >> 8U : word & 0xFFU;
    if (byte == 0) break;
    text.push_back(byte < 0x20 || byte > 0x7E ? '?' : static_cast<char>(byte));
  }
  while (!text.empty() && text.back() == ' ') text.pop_back();
  return text;
}

}  // namespace crestgate::registers
