// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/crc32c.h"

#include <algorithm>

#include <isa-l/crc.h>

namespace crestgate::protocol {
namespace {

constexpr std::size_t kMaxPiece = std::size_t{1} << 30U;  // ISA-L's length is an int

}  // namespace

std::uint32_t crc32c(std::span<const std::byte> bytes, std::uint32_t previous) {
  // ISA-L works on the bare register: it neither sets the initial value nor inverts the result. It
  // takes a pointer to data that it does not change.
  std::uint32_t state = ~previous;
  while (!bytes.empty()) {
    const std::size_t piece = std::min(bytes.size(), kMaxPiece);
    auto* data = const_cast<unsigned char*>(reinterpret_cast<const unsigned char*>(bytes.data()));
    state = crc32_iscsi(data, static_cast<int>(piece), state);
    bytes = bytes.subspan(piece);
  }
  return ~state;
}

}  // namespace crestgate::protocol
