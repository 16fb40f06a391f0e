// SPDX-License-Identifier: Apache-2.0
#pragma once
// Frames between daemon and guard, written byte by byte from the description at the head of guard_frame.h: a second
// hand, so that a mistake in the first one shows.

#include <chrono>
#include <cstdint>
#include <vector>

namespace crestgate::tests {

inline std::uint32_t stamp_now_ms() {
  return static_cast<std::uint32_t>(std::chrono::duration_cast<std::chrono::milliseconds>(
                                        std::chrono::steady_clock::now().time_since_epoch())
                                        .count());
}

inline std::vector<std::uint8_t> guard_bytes(char kind, unsigned lights, std::uint32_t stamp_ms) {
  std::vector<std::uint8_t> bytes{
      static_cast<std::uint8_t>(kind),          static_cast<std::uint8_t>(lights % 256),
      static_cast<std::uint8_t>(lights / 256),  static_cast<std::uint8_t>(stamp_ms),
      static_cast<std::uint8_t>(stamp_ms >> 8), static_cast<std::uint8_t>(stamp_ms >> 16),
      static_cast<std::uint8_t>(stamp_ms >> 24)};
  for (std::size_t i = 0; i < 7; ++i) bytes.push_back(static_cast<std::uint8_t>(255 - bytes[i]));
  return bytes;
}

inline std::vector<std::uint8_t> guard_wants(unsigned lights) {
  return guard_bytes('S', lights, stamp_now_ms());
}

}  // namespace crestgate::tests
