// SPDX-License-Identifier: Apache-2.0
#pragma once
// How fast a line carries bytes. A pseudo-terminal passes them at once, so that timing bugs would stay
// hidden.

#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>

#include "base/clock.h"
#include "simulator/link/bytes.h"

namespace crestgate::simulator {

// Holds bytes back for ten bit times each (8 data bits, start and stop bit).
class LinePace {
 public:
  // Without a rate everything passes at once.
  explicit LinePace(std::optional<std::uint32_t> baud) : baud_(baud) {}

  // Another rate from now on, for what waits too.
  // Pre     what has left by `now` is released.
  void change_rate(std::optional<std::uint32_t> baud, base::MonotonicInstant now);

  void push(ByteView bytes, base::MonotonicInstant now);

  // The bytes whose last bit has left by `now`.
  Bytes release(base::MonotonicInstant now);

  // When the next bytes (a millisecond's worth, or the rest) have left; nothing while nothing waits.
  [[nodiscard]] std::optional<base::MonotonicInstant> next_due() const;

  void clear() { waiting_.clear(); }

 private:
  [[nodiscard]] std::int64_t time_of_ns(std::int64_t bytes) const;

  std::optional<std::uint32_t> baud_;
  std::deque<std::uint8_t> waiting_;
  base::MonotonicInstant burst_start_;
  std::int64_t released_in_burst_ = 0;
};

}  // namespace crestgate::simulator
