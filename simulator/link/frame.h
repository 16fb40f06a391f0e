// SPDX-License-Identifier: Apache-2.0
#pragma once
// Frames of the gauge link: bytes of a line to frames and back. No port, no clock.
//
//   wire    = COBS(content) 00
//   content = version u8, type u8, sequence u16, length u16, body, check u32      (little-endian)
//
// Source  protocol/link/LINK.md, section 1.

#include <cstddef>
#include <cstdint>
#include <vector>

#include "simulator/link/bytes.h"

namespace crestgate::simulator {

constexpr std::uint8_t kLinkVersion = 1;
constexpr std::size_t kLongestBody = 640;
constexpr std::size_t kLongestFrame = 700;  // bytes without a zero; more is dropped as overlong

struct Frame {
  std::uint8_t type = 0;
  std::uint16_t sequence = 0;
  Bytes body;
  friend bool operator==(const Frame&, const Frame&) = default;
};

// What a receiver dropped, by reason. The last two are counted by whoever reads the bodies.
struct ReceiveCounters {
  std::uint64_t damaged = 0;
  std::uint64_t overlong = 0;
  std::uint64_t other_version = 0;
  std::uint64_t unknown_type = 0;
  std::uint64_t malformed = 0;
  friend bool operator==(const ReceiveCounters&, const ReceiveCounters&) = default;
};

// CRC-32C; "123456789" gives E3069283h.
std::uint32_t check_of(ByteView bytes);

// Pre     body not longer than kLongestBody.
Bytes content_of(const Frame& frame);
Bytes wire_of(const Frame& frame);

// Cuts a stream into frames. Fed in any portions, it gives the same frames and counts.
class Deframer {
 public:
  // Appends every whole and undamaged frame to `frames`. Any bytes are safe.
  void feed(ByteView bytes, std::vector<Frame>& frames);

  // As after opening: everything up to the next zero is dropped uncounted. Counters stay.
  void reopen();

  [[nodiscard]] const ReceiveCounters& counters() const { return counters_; }

 private:
  void close_frame(std::vector<Frame>& frames);

  enum class State { kFirstFragment, kInFrame, kSkipping };
  State state_ = State::kFirstFragment;
  Bytes pending_;
  ReceiveCounters counters_;
};

}  // namespace crestgate::simulator
