// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/coverage.h"

#include <algorithm>
#include <array>
#include <utility>

#include "base/expects.h"
#include "driver/gauge/link/cobs.h"

namespace crestgate::driver::link {

Placed Coverage::place(std::uint32_t first, std::span<const std::int32_t> heights) {
  if (first > counts_.size() || heights.size() > counts_.size() - first) return Placed::kOutside;
  for (std::size_t i = 0; i < heights.size(); ++i) {
    if (here_[first + i] && counts_[first + i] != heights[i]) return Placed::kContradicts;
  }
  const std::uint32_t before = missing_;
  for (std::size_t i = 0; i < heights.size(); ++i) {
    if (here_[first + i]) continue;
    here_[first + i] = true;
    counts_[first + i] = heights[i];
    --missing_;
  }
  return missing_ < before ? Placed::kNew : Placed::kKnown;
}

std::vector<Gap> Coverage::gaps() const {
  std::vector<Gap> found;
  for (std::uint32_t i = 0; i < counts_.size(); ++i) {
    if (here_[i]) continue;
    if (found.empty() || found.back().first + found.back().count != i) {
      found.push_back({i, 1});
    } else {
      ++found.back().count;
    }
  }
  return found;
}

std::uint32_t Coverage::check() const {
  CRESTGATE_EXPECTS(complete());
  std::uint32_t check = 0;
  std::array<std::uint8_t, 1024> wire{};
  std::size_t used = 0;
  for (const std::int32_t count : counts_) {
    const auto bits = static_cast<std::uint32_t>(count);
    for (unsigned i = 0; i < 4; ++i) wire[used++] = static_cast<std::uint8_t>(bits >> (8 * i));
    if (used == wire.size()) {
      check = crc32c(wire, check);
      used = 0;
    }
  }
  return crc32c(std::span(wire).first(used), check);
}

std::vector<std::int32_t> Coverage::take() {
  CRESTGATE_EXPECTS(complete());
  here_.clear();
  return std::exchange(counts_, {});
}

}  // namespace crestgate::driver::link
