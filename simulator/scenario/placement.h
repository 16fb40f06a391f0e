// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which part lies on the bench, and which zone of it is under the stylus.

#include <compare>
#include <cstdint>
#include <string>

namespace crestgate::simulator {

// A part at a stage of its process; the stage is 0 where the scenario names none.
struct PartAtStage {
  std::string part;
  std::uint16_t stage = 0;
  // NOLINTNEXTLINE(modernize-use-nullptr): the check of clang-tidy 14 misreads the defaulted comparison
  friend auto operator<=>(const PartAtStage&, const PartAtStage&) = default;
};

struct Placement {
  PartAtStage part;
  std::uint32_t attempt = 0;  // n-th time that this part was placed at this stage, from 1
  std::uint32_t zone = 0;
  std::uint32_t traverses = 0;  // of this zone since the part was placed
};

}  // namespace crestgate::simulator
