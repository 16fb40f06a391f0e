// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/ledger: headers and entries as bytes. Pure functions; the words are those of FORMAT.md.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/result.h"

namespace crestgate::protocol {

using LedgerId = std::array<std::byte, 16>;

inline constexpr std::uint64_t kSegmentHeaderBytes = 64;
inline constexpr std::uint64_t kEntryHeaderBytes = 24;
inline constexpr std::uint64_t kEntryAlignment = 8;
inline constexpr std::uint64_t kEndBodyBytes = 16;
inline constexpr std::uint8_t kEndKind = 127;
inline constexpr std::uint64_t kMaxRecordNumber = (std::uint64_t{1} << 63U) - 1;

struct SegmentHeader {
  std::uint32_t segment = 0;
  std::uint64_t first_number = 0;
  base::UtcInstant created;  // 0: not known
  LedgerId ledger_id{};
};

struct EntryHeader {
  std::uint32_t body_length = 0;
  std::uint64_t number = 0;
  std::uint8_t kind = 0;
  std::uint32_t crc = 0;
};

// What END says about its segment.
struct SegmentEnd {
  std::uint64_t entries = 0;
  std::uint64_t offset = 0;  // where the END entry begins
};

using SegmentHeaderBytes = std::array<std::byte, kSegmentHeaderBytes>;
using EntryHeaderBytes = std::array<std::byte, kEntryHeaderBytes>;

[[nodiscard]] constexpr std::uint64_t padded(std::uint64_t length) {
  return (length + kEntryAlignment - 1) / kEntryAlignment * kEntryAlignment;
}
[[nodiscard]] constexpr std::uint64_t entry_bytes(std::uint64_t body_length) {
  return kEntryHeaderBytes + padded(body_length);
}

[[nodiscard]] SegmentHeaderBytes encode(const SegmentHeader& header);

// Errors  kCorruptFile: no segment, or a damaged header. kNotSupported: a newer version. `detail` begins with
//         a verb, for the caller to put the file's name in front.
base::Result<SegmentHeader> decode_segment_header(std::span<const std::byte> bytes);

// The id field of a header that may be damaged. Pre: kSegmentHeaderBytes bytes.
[[nodiscard]] LedgerId raw_ledger_id(std::span<const std::byte> header);

// Purpose  appends one whole entry to `into`: header with CRC, body, padding.
struct EntryOwner {
  LedgerId ledger_id{};
  std::uint32_t segment = 0;
};
void append_entry(const EntryOwner& owner, std::uint64_t number, std::uint8_t kind,
                  std::span<const std::byte> body, std::vector<std::byte>& into);

// Empty if this cannot be an entry: marker, kind 0, reserved bytes, length, number. The CRC is not looked at.
// Pre  kEntryHeaderBytes bytes.
[[nodiscard]] std::optional<EntryHeader> decode_entry_header(std::span<const std::byte> bytes);

// CRC-32C over owner, the header's first 20 bytes and the body.
[[nodiscard]] std::uint32_t entry_crc(const EntryOwner& owner, std::span<const std::byte> header,
                                      std::span<const std::byte> body);

// Whether an entry may begin with these bytes; used to search.
[[nodiscard]] bool has_entry_marker(std::span<const std::byte> bytes);

[[nodiscard]] std::array<std::byte, kEndBodyBytes> encode(const SegmentEnd& end);
[[nodiscard]] std::optional<SegmentEnd> decode_segment_end(std::span<const std::byte> body);

// "000001.ledger"; and back, empty for any other name.
[[nodiscard]] std::string segment_name(std::uint32_t segment);
[[nodiscard]] std::optional<std::uint32_t> segment_of(std::string_view name);

}  // namespace crestgate::protocol
