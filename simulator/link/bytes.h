// SPDX-License-Identifier: Apache-2.0
#pragma once
// What travels on the line.

#include <cstdint>
#include <span>
#include <vector>

namespace crestgate::simulator {

using Bytes = std::vector<std::uint8_t>;
using ByteView = std::span<const std::uint8_t>;

}  // namespace crestgate::simulator
