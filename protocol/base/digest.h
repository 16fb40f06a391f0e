// SPDX-License-Identifier: Apache-2.0
#pragma once
// The SHA-256 by which records cite each other. Computed in protocol/, only carried here.

#include <array>
#include <cstdint>
#include <string>

namespace crestgate::base {

struct Digest {
  std::array<std::uint8_t, 32> bytes{};
  friend bool operator==(const Digest&, const Digest&) = default;
  friend auto operator<=>(const Digest&, const Digest&) = default;
};

// Lower-case hexadecimal, 64 characters.
inline std::string to_hex(const Digest& digest) {
  static constexpr char kDigits[] = "0123456789abcdef";
  std::string text;
  text.reserve(2 * digest.bytes.size());
  for (const std::uint8_t byte : digest.bytes) {
    text.push_back(kDigits[byte >> 4U]);
    text.push_back(kDigits[byte & 0x0FU]);
  }
  return text;
}

}  // namespace crestgate::base
