// SPDX-License-Identifier: Apache-2.0
#pragma once
// Two kinds of time, and the seam through which anyone learns them.

#include <compare>
#include <cstdint>

namespace crestgate::base {

// Wall-clock time for people: nanoseconds since 1970-01-01T00:00:00Z. May jump. Never used for an interval.
struct UtcInstant {
  std::int64_t unix_ns = 0;
  friend constexpr auto operator<=>(UtcInstant, UtcInstant) = default;
};

// Time for intervals, leases and deadlines: nanoseconds since an arbitrary start, never jumps.
struct MonotonicInstant {
  std::int64_t ns = 0;
  friend constexpr auto operator<=>(MonotonicInstant, MonotonicInstant) = default;
  friend constexpr std::int64_t operator-(MonotonicInstant a, MonotonicInstant b) { return a.ns - b.ns; }
};

constexpr std::int64_t kNsPerMs = 1'000'000;
constexpr MonotonicInstant after_ms(MonotonicInstant start, std::int64_t ms) {
  return {start.ns + ms * kNsPerMs};
}

// Implemented by the daemon (system clocks) and by tests (hand-driven).
class Clock {
 public:
  virtual ~Clock() = default;
  [[nodiscard]] virtual UtcInstant utc() const = 0;
  [[nodiscard]] virtual MonotonicInstant monotonic() const = 0;
};

}  // namespace crestgate::base
