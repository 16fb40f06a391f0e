// SPDX-License-Identifier: Apache-2.0
#pragma once
// Keeps a log readable when the same thing goes wrong over and over.

#include <cstdint>
#include <map>
#include <optional>
#include <string>

#include "base/clock.h"

namespace crestgate::cell {

// Purpose  lets the first message of each kind through, then one a minute, and counts what it held back.
class RepeatGate {
 public:
  // How many of this kind were held back since the last that passed; absent: hold this one back too.
  std::optional<std::uint64_t> pass(const std::string& kind, base::MonotonicInstant now) {
    auto [entry, first] = entries_.try_emplace(kind);
    if (!first && (now - entry->second.passed) < kOneMinuteNs) {
      ++entry->second.held;
      return std::nullopt;
    }
    const std::uint64_t held = entry->second.held;
    entry->second = {.passed = now, .held = 0};
    return held;
  }

 private:
  static constexpr std::int64_t kOneMinuteNs = 60'000 * base::kNsPerMs;
  struct Entry {
    base::MonotonicInstant passed;
    std::uint64_t held = 0;
  };
  std::map<std::string, Entry> entries_;  // kinds are few and fixed
};

}  // namespace crestgate::cell
