// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/sort_falling.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <functional>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr std::size_t kCountingThreshold = 512;  // below, the counting passes cost more than comparing
constexpr std::size_t kLongList = 65536;         // from here on wider digits pay for their counters

constexpr unsigned kDigitBits = 11;
constexpr std::size_t kDigits = std::size_t{1} << kDigitBits;
constexpr unsigned kPasses = 6;  // 66 bits
constexpr std::uint64_t kSign = std::uint64_t{1} << 63U;

using Counts = std::array<std::uint32_t, kDigits>;

// Doubles as integers whose rising order is the falling order of the numbers.
std::uint64_t falling_key(double value) {
  const auto bits = std::bit_cast<std::uint64_t>(value);
  const std::uint64_t rising = (bits & kSign) != 0 ? ~bits : bits | kSign;
  return ~rising;
}

double value_of(std::uint64_t key) {
  const std::uint64_t rising = ~key;
  return std::bit_cast<double>((rising & kSign) != 0 ? rising & ~kSign : ~rising);
}

void turn_into_places(std::span<std::uint32_t> counts) {
  std::uint32_t place = 0;
  for (std::uint32_t& count : counts) {
    const std::uint32_t here = count;
    count = place;
    place += here;
  }
}

// Radix sort of the bits, from the lowest digit: the same time whatever the heights are.
void sort_by_bits(std::span<double> heights_um, SortWorkspace& workspace) {
  const std::size_t n = heights_um.size();
  std::array<Counts, kPasses> counts{};
  for (std::size_t i = 0; i < n; ++i) {
    const std::uint64_t key = falling_key(heights_um[i]);
    workspace.keys[i] = key;
    for (unsigned pass = 0; pass < kPasses; ++pass) ++counts[pass][(key >> (pass * kDigitBits)) % kDigits];
  }
  std::uint64_t* from = workspace.keys.data();
  std::uint64_t* into = workspace.other.data();
  for (unsigned pass = 0; pass < kPasses; ++pass) {
    Counts& count = counts[pass];
    const unsigned shift = pass * kDigitBits;
    if (count[(from[0] >> shift) % kDigits] == n) continue;  // all alike in this digit
    turn_into_places(count);
    for (std::size_t i = 0; i < n; ++i) into[count[(from[i] >> shift) % kDigits]++] = from[i];
    std::swap(from, into);
  }
  for (std::size_t i = 0; i < n; ++i) heights_um[i] = value_of(from[i]);
}

struct Range {
  double highest = 0.0;
  double lowest = 0.0;
};

Range range_of(std::span<const double> heights_um) {
  Range range{.highest = heights_um[0], .lowest = heights_um[0]};
  for (const double z : heights_um) {
    range.highest = std::max(range.highest, z);
    range.lowest = std::min(range.lowest, z);
  }
  return range;
}

// Heights as whole numbers of two digits, 0 for the highest: a lower height never has a smaller one.
class Ladder {
 public:
  Ladder(Range range, unsigned digit_bits)
      : highest_(range.highest),
        scale_((std::ldexp(1.0, static_cast<int>(2 * digit_bits)) - 1.0) / (range.highest - range.lowest)) {}

  // Heights that differ by nothing, by less than a double can divide by or by more than one can hold have no
  // ladder.
  [[nodiscard]] bool exists() const { return std::isfinite(scale_) && scale_ > 0.0; }
  [[nodiscard]] std::uint32_t rung(double z) const {
    return static_cast<std::uint32_t>(static_cast<std::int32_t>((highest_ - z) * scale_));
  }

 private:
  double highest_;
  double scale_;
};

// Puts in order what lies few places away from where it belongs. False, with the heights all there, when that
// is not so.
bool insert_nearby(std::span<double> z) {
  std::size_t moves_left = 4 * z.size();
  for (std::size_t i = 1; i < z.size(); ++i) {
    const double height = z[i];
    std::size_t place = i;
    while (place > 0 && z[place - 1] < height) {
      z[place] = z[place - 1];
      --place;
    }
    z[place] = height;
    if (i - place > moves_left) return false;
    moves_left -= i - place;
  }
  return true;
}

// False, with falling_um holding all heights, when they are too unevenly spread.
bool sort_by_ladder(std::span<const double> heights_um, std::span<double> falling_um,
                    SortWorkspace& workspace) {
  const std::size_t n = heights_um.size();
  const unsigned digit_bits = n < kLongList ? kDigitBits - 1 : kDigitBits;
  const std::uint32_t digit_mask = (1U << digit_bits) - 1U;
  const Ladder ladder(range_of(heights_um), digit_bits);
  if (!ladder.exists()) return false;
  std::array<std::uint32_t, 2 * kDigits> counts{};
  const std::size_t digits = std::size_t{1} << digit_bits;
  std::uint32_t* const low = counts.data();
  std::uint32_t* const high = low + digits;
  for (const double z : heights_um) {
    const std::uint32_t rung = ladder.rung(z);
    ++low[rung & digit_mask];
    ++high[rung >> digit_bits];
  }
  // Moves that insertion would need if the heights were even inside the upper digit.
  double pairs = 0.0;
  for (std::size_t digit = 0; digit < digits; ++digit)
    pairs += static_cast<double>(high[digit]) * static_cast<double>(high[digit]);
  if (pairs > static_cast<double>(n) * static_cast<double>(digits)) return false;
  turn_into_places({low, digits});
  turn_into_places({high, digits});
  std::uint64_t* const between = workspace.other.data();
  for (const double z : heights_um) {
    between[low[ladder.rung(z) & digit_mask]++] = std::bit_cast<std::uint64_t>(z);
  }
  double* const into = falling_um.data();
  for (std::size_t i = 0; i < n; ++i) {
    const auto z = std::bit_cast<double>(between[i]);
    into[high[ladder.rung(z) >> digit_bits]++] = z;
  }
  return insert_nearby(falling_um);
}

}  // namespace

void sort_falling(std::span<const double> heights_um, std::span<double> falling_um,
                  SortWorkspace& workspace) {
  CRESTGATE_EXPECTS(heights_um.size() == falling_um.size());
  const std::size_t n = heights_um.size();
  const bool is_same_memory = heights_um.data() == falling_um.data();
  if (n < kCountingThreshold) {
    if (!is_same_memory) std::ranges::copy(heights_um, falling_um.begin());
    std::ranges::sort(falling_um, std::greater<>());
    return;
  }
  workspace.keys.resize(n);
  workspace.other.resize(n);
  if (sort_by_ladder(heights_um, falling_um, workspace)) return;
  if (!is_same_memory) std::ranges::copy(heights_um, falling_um.begin());
  sort_by_bits(falling_um, workspace);
}

}  // namespace crestgate::analysis
