// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which samples of a traverse have arrived: chunks go in by place, holes come out. Nothing is ever filled in.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace crestgate::driver::link {

struct Gap {
  std::uint32_t first = 0;
  std::uint32_t count = 0;
  friend bool operator==(const Gap&, const Gap&) = default;
};

enum class Placed : std::uint8_t {
  kNew,          // at least one sample was missing before
  kKnown,        // every sample had arrived before, with the same height
  kOutside,      // reaches beyond the traverse; nothing was taken
  kContradicts,  // a sample had arrived before with another height; nothing was taken
};

class Coverage {
 public:
  explicit Coverage(std::uint32_t samples) : counts_(samples), here_(samples, false), missing_(samples) {}

  Placed place(std::uint32_t first, std::span<const std::int32_t> heights);

  [[nodiscard]] bool complete() const { return missing_ == 0; }
  [[nodiscard]] std::uint32_t missing() const { return missing_; }
  [[nodiscard]] std::vector<Gap> gaps() const;  // in order of place
  // CRC-32C over all heights as they stand on the wire.  Pre  complete()
  [[nodiscard]] std::uint32_t check() const;
  // Pre  complete(); the coverage is empty afterwards.
  [[nodiscard]] std::vector<std::int32_t> take();

 private:
  std::vector<std::int32_t> counts_;
  std::vector<bool> here_;
  std::uint32_t missing_;
};

}  // namespace crestgate::driver::link
