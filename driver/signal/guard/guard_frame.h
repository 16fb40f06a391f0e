// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the daemon and its guard say to each other: frames of 14 bytes, one kind each way.
//
//   byte 0     kind
//   byte 1-2   lights, bit n for light n, low byte first
//   byte 3-6   stamp: milliseconds of CLOCK_MONOTONIC, modulo 2^32, low byte first
//   byte 7-13  the complements of bytes 0 to 6
//
//   'S'  to the guard: these lights are wanted, as of the stamp. Its lease runs from the stamp and not from its
//        arrival, so that a frame that lay about in a queue renews nothing.
//   'A'  from the guard: these lights are on, by the request of this stamp. The first one of all says that
//        everything is off.
//   'F'  from the guard: the lights cannot be switched off, it keeps trying (sent with every try).

#include <array>
#include <cstddef>
#include <cstdint>

namespace crestgate::driver {

constexpr std::uint32_t kGuardLeaseMs = 300;
constexpr std::size_t kGuardHalf = 7;
constexpr std::size_t kGuardFrameSize = 2 * kGuardHalf;

enum class GuardSays : std::uint8_t { kSet = 'S', kAre = 'A', kFailing = 'F' };

struct GuardFrame {
  GuardSays kind = GuardSays::kSet;
  std::uint16_t lights = 0;
  std::uint32_t stamp_ms = 0;
};
using GuardBytes = std::array<std::uint8_t, kGuardFrameSize>;

constexpr GuardBytes write_guard_frame(const GuardFrame& frame) {
  GuardBytes bytes{};
  bytes[0] = static_cast<std::uint8_t>(frame.kind);
  for (std::size_t i = 0; i < 2; ++i) bytes[1 + i] = static_cast<std::uint8_t>(frame.lights >> (8 * i));
  for (std::size_t i = 0; i < 4; ++i) bytes[3 + i] = static_cast<std::uint8_t>(frame.stamp_ms >> (8 * i));
  for (std::size_t i = 0; i < kGuardHalf; ++i) bytes[kGuardHalf + i] = static_cast<std::uint8_t>(~bytes[i]);
  return bytes;
}

// False: these bytes are no frame, and `frame` is not to be looked at. Any bytes are safe.
constexpr bool read_guard_frame(const GuardBytes& bytes, GuardFrame& frame) {
  for (std::size_t i = 0; i < kGuardHalf; ++i) {
    if ((bytes[i] ^ bytes[kGuardHalf + i]) != 0xFF) return false;
  }
  frame.kind = static_cast<GuardSays>(bytes[0]);
  frame.lights = 0;
  frame.stamp_ms = 0;
  for (std::size_t i = 2; i-- > 0;)
    frame.lights = static_cast<std::uint16_t>(frame.lights << 8 | bytes[1 + i]);
  for (std::size_t i = 4; i-- > 0;) frame.stamp_ms = frame.stamp_ms << 8 | bytes[3 + i];
  return frame.kind == GuardSays::kSet || frame.kind == GuardSays::kAre || frame.kind == GuardSays::kFailing;
}

}  // namespace crestgate::driver
