// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/line_pace.h"

#include <algorithm>

namespace crestgate::simulator {

namespace {

constexpr std::int64_t kBitsPerByte = 10;
constexpr std::int64_t kNsPerSecond = 1'000'000'000;

}  // namespace

// Rounded up: a byte has left when its stop bit has.
std::int64_t LinePace::time_of_ns(std::int64_t bytes) const {
  const std::int64_t rate = *baud_;
  return (bytes * kBitsPerByte * kNsPerSecond + rate - 1) / rate;
}

void LinePace::change_rate(std::optional<std::uint32_t> baud, base::MonotonicInstant now) {
  baud_ = baud;
  burst_start_ = now;
  released_in_burst_ = 0;
}

void LinePace::push(ByteView bytes, base::MonotonicInstant now) {
  if (bytes.empty()) return;
  if (waiting_.empty() && baud_) {
    // The stop bit of the last burst may still be on its way.
    const base::MonotonicInstant free_at{burst_start_.ns + time_of_ns(released_in_burst_)};
    burst_start_ = std::max(now, free_at);
    released_in_burst_ = 0;
  }
  waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
}

Bytes LinePace::release(base::MonotonicInstant now) {
  std::int64_t ready = static_cast<std::int64_t>(waiting_.size());
  if (baud_ && ready > 0) {
    const std::int64_t elapsed_ns = std::max<std::int64_t>(now - burst_start_, 0);
    // Seconds and the rest apart, so that no burst overflows.
    const std::int64_t left = elapsed_ns / kNsPerSecond * *baud_ / kBitsPerByte +
                              elapsed_ns % kNsPerSecond * *baud_ / (kBitsPerByte * kNsPerSecond);
    ready = std::clamp<std::int64_t>(left - released_in_burst_, 0, ready);
  }
  Bytes out(waiting_.begin(), waiting_.begin() + ready);
  waiting_.erase(waiting_.begin(), waiting_.begin() + ready);
  released_in_burst_ += ready;
  return out;
}

std::optional<base::MonotonicInstant> LinePace::next_due() const {
  if (waiting_.empty()) return std::nullopt;
  if (!baud_) return burst_start_;
  const std::int64_t portion =
      std::clamp<std::int64_t>(*baud_ / (kBitsPerByte * 1000), 1, static_cast<std::int64_t>(waiting_.size()));
  // One byte more than the arithmetic needs, in time: rounding may not ask for a moment just too early.
  return base::MonotonicInstant{burst_start_.ns + time_of_ns(released_in_burst_ + portion) + 1};
}

}  // namespace crestgate::simulator
