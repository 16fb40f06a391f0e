// SPDX-License-Identifier: Apache-2.0
#pragma once
// CRC-32C, the check sum of the ledger.

#include <cstddef>
#include <cstdint>
#include <span>

namespace crestgate::protocol {

// Purpose  CRC-32C of `bytes`; with `previous` = crc32c(a), the CRC of a followed by `bytes`.
// Method   Polynomial 0x1EDC6F41 reflected, initial value and final exclusive or 0xFFFFFFFF; ISA-L, which
//          uses the processor's instruction where there is one.
// Source   RFC 3720, appendix B.4 (iSCSI). "123456789" gives 0xE3069283.
[[nodiscard]] std::uint32_t crc32c(std::span<const std::byte> bytes, std::uint32_t previous = 0);

}  // namespace crestgate::protocol
