// SPDX-License-Identifier: Apache-2.0
#pragma once
// Consistent overhead byte stuffing and the check, as protocol/link/LINK.md section 1 states them.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace crestgate::driver::link {

using Bytes = std::vector<std::uint8_t>;

// Without the closing zero. Any content, also none.
[[nodiscard]] Bytes cobs_encode(std::span<const std::uint8_t> content);

// Replaces `content`. `stuffed` is what stands between two zeros. False: not a valid stuffing; `content` is
// then unspecified.
[[nodiscard]] bool cobs_decode(std::span<const std::uint8_t> stuffed, Bytes& content);

// CRC-32C (Castagnoli): polynomial 1EDC6F41h, reflected, initial and final value FFFFFFFFh. `before` is the
// check of the bytes that came before these: crc32c(a + b) = crc32c(b, crc32c(a)).
[[nodiscard]] std::uint32_t crc32c(std::span<const std::uint8_t> bytes, std::uint32_t before = 0);

}  // namespace crestgate::driver::link
