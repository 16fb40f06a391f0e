// SPDX-License-Identifier: Apache-2.0
#pragma once
// Fed with bytes as they come, yields messages; counts what it had to drop.
//
// Source  protocol/link/LINK.md section 1, receiver rules.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "driver/gauge/link/cobs.h"
#include "driver/gauge/link/messages.h"

namespace crestgate::driver::link {

struct FrameCounters {
  std::uint64_t good = 0;
  std::uint64_t damaged = 0;
  std::uint64_t overlong = 0;
  std::uint64_t malformed = 0;
  std::uint64_t unknown_type = 0;
  std::uint64_t other_version = 0;
  friend bool operator==(const FrameCounters&, const FrameCounters&) = default;
};

class Framer {
 public:
  // Longest run without a zero that can still become a frame.
  static constexpr std::size_t kMaxStuffed = 700;

  // Appends to `messages` what these bytes complete. Any bytes are safe; memory stays bounded.
  void feed(std::span<const std::byte> bytes, std::vector<Message>& messages);

  [[nodiscard]] const FrameCounters& counters() const { return counters_; }

 private:
  void close_frame(std::vector<Message>& messages);

  enum class Mode : std::uint8_t { kBeforeFirstZero, kInFrame, kOverlong };
  Mode mode_ = Mode::kBeforeFirstZero;
  Bytes stuffed_;
  Bytes content_;
  FrameCounters counters_;
};

}  // namespace crestgate::driver::link
