// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/ledger_format.h"

#include <algorithm>
#include <charconv>
#include <concepts>
#include <limits>
#include <string_view>

#include "base/expects.h"
#include "protocol/convert/convert.h"
#include "protocol/ledger/crc32c.h"

namespace crestgate::protocol {
namespace {

constexpr std::array kMagic = {std::byte{0xD7}, std::byte{0x43}, std::byte{0x47}, std::byte{0x4C},
                               std::byte{0x44}, std::byte{0x31}, std::byte{0x0D}, std::byte{0x0A}};
constexpr std::size_t kMagicVersionAt = 5;
constexpr std::array kMarker = {std::byte{0xE5}, std::byte{0x43}, std::byte{0x47}, std::byte{0x52}};
constexpr std::uint32_t kFormatVersion = 1;
constexpr std::string_view kExtension = ".ledger";
constexpr std::size_t kNameDigits = 6;

// Offsets of the header's fields.
constexpr std::size_t kVersionAt = 8;
constexpr std::size_t kSegmentAt = 12;
constexpr std::size_t kFirstNumberAt = 16;
constexpr std::size_t kCreatedAt = 24;
constexpr std::size_t kLedgerIdAt = 32;
constexpr std::size_t kReservedAt = 48;
constexpr std::size_t kHeaderCrcAt = 60;

// Offsets of the entry's fields.
constexpr std::size_t kLengthAt = 4;
constexpr std::size_t kNumberAt = 8;
constexpr std::size_t kKindAt = 16;
constexpr std::size_t kEntryCrcAt = 20;

template <std::unsigned_integral Number>
void put(std::span<std::byte> bytes, std::size_t at, Number value) {
  const std::uint64_t wide = value;
  for (std::size_t i = 0; i < sizeof(Number); ++i) {
    bytes[at + i] = static_cast<std::byte>((wide >> (8U * i)) & 0xFFU);
  }
}

template <std::unsigned_integral Number>
Number get(std::span<const std::byte> bytes, std::size_t at) {
  std::uint64_t wide = 0;
  for (std::size_t i = 0; i < sizeof(Number); ++i) {
    wide |= std::to_integer<std::uint64_t>(bytes[at + i]) << (8U * i);
  }
  if constexpr (std::same_as<Number, std::uint64_t>) {
    return wide;
  } else {
    return static_cast<Number>(wide);
  }
}

bool all_zero(std::span<const std::byte> bytes) {
  return std::all_of(bytes.begin(), bytes.end(), [](std::byte byte) { return byte == std::byte{0}; });
}

base::Error newer(std::string_view version) {
  return {base::ErrorCode::kNotSupported,
          "is a ledger segment of format version " + std::string(version) + ", this program reads version 1"};
}

base::Outcome check_magic(std::span<const std::byte> bytes) {
  const auto same = [bytes](std::size_t i) { return bytes[i] == kMagic[i]; };
  for (std::size_t i = 0; i < kMagic.size(); ++i) {
    if (i == kMagicVersionAt || same(i)) continue;
    return base::Error{base::ErrorCode::kCorruptFile,
                       "is not a ledger segment: byte " + std::to_string(i) + " of the magic is wrong"};
  }
  if (same(kMagicVersionAt)) return base::Done{};
  const char digit = std::to_integer<char>(bytes[kMagicVersionAt]);
  // Only a printable digit is a version; anything else is damage.
  if (digit >= '2' && digit <= '9') return newer(std::string_view(&digit, 1));
  return base::Error{base::ErrorCode::kCorruptFile, "has a damaged header: the version digit of the magic"};
}

}  // namespace

SegmentHeaderBytes encode(const SegmentHeader& header) {
  SegmentHeaderBytes bytes{};
  std::copy(kMagic.begin(), kMagic.end(), bytes.begin());
  put(bytes, kVersionAt, kFormatVersion);
  put(bytes, kSegmentAt, header.segment);
  put(bytes, kFirstNumberAt, header.first_number);
  put(bytes, kCreatedAt, static_cast<std::uint64_t>(header.created.unix_ns));
  std::copy(header.ledger_id.begin(), header.ledger_id.end(), bytes.begin() + kLedgerIdAt);
  put(bytes, kHeaderCrcAt, crc32c(std::span(bytes).first(kHeaderCrcAt)));
  return bytes;
}

base::Result<SegmentHeader> decode_segment_header(std::span<const std::byte> bytes) {
  if (bytes.size() < kSegmentHeaderBytes) {
    return base::Error{base::ErrorCode::kCorruptFile, "has " + std::to_string(bytes.size()) +
                                                          " bytes, a segment begins with a header of 64"};
  }
  const std::uint32_t crc = crc32c(bytes.first(kHeaderCrcAt));
  const bool intact = crc == get<std::uint32_t>(bytes, kHeaderCrcAt);
  const auto magic = check_magic(bytes);
  // A single flipped bit turns one version digit into another: only an intact header may say "newer".
  if (!magic && (intact || magic.error().code != base::ErrorCode::kNotSupported)) return magic.error();
  if (!intact) {
    return base::Error{base::ErrorCode::kCorruptFile, "has a damaged header: its CRC is wrong"};
  }
  const auto version = get<std::uint32_t>(bytes, kVersionAt);
  if (version > kFormatVersion) return newer(std::to_string(version));
  const auto first_number = get<std::uint64_t>(bytes, kFirstNumberAt);
  const bool possible = version != 0 && first_number != 0 && first_number <= kMaxRecordNumber;
  if (!possible || !all_zero(bytes.subspan(kReservedAt, kHeaderCrcAt - kReservedAt))) {
    return base::Error{base::ErrorCode::kCorruptFile, "has a header that no version writes"};
  }
  return SegmentHeader{.segment = get<std::uint32_t>(bytes, kSegmentAt),
                       .first_number = first_number,
                       .created = {static_cast<std::int64_t>(get<std::uint64_t>(bytes, kCreatedAt))},
                       .ledger_id = raw_ledger_id(bytes)};
}

LedgerId raw_ledger_id(std::span<const std::byte> header) {
  CRESTGATE_EXPECTS(header.size() >= kSegmentHeaderBytes);
  LedgerId id{};
  std::copy_n(header.begin() + kLedgerIdAt, id.size(), id.begin());
  return id;
}

std::uint32_t entry_crc(const EntryOwner& owner, std::span<const std::byte> header,
                        std::span<const std::byte> body) {
  std::array<std::byte, 4> segment{};
  put(segment, 0, owner.segment);
  std::uint32_t crc = crc32c(owner.ledger_id);
  crc = crc32c(segment, crc);
  crc = crc32c(header.first(kEntryCrcAt), crc);
  return crc32c(body, crc);
}

void append_entry(const EntryOwner& owner, std::uint64_t number, std::uint8_t kind,
                  std::span<const std::byte> body, std::vector<std::byte>& into) {
  CRESTGATE_EXPECTS(body.size() <= kMaxBodyBytes && kind != 0);
  EntryHeaderBytes header{};
  std::copy(kMarker.begin(), kMarker.end(), header.begin());
  put(header, kLengthAt, static_cast<std::uint32_t>(body.size()));
  put(header, kNumberAt, number);
  put(header, kKindAt, kind);
  put(header, kEntryCrcAt, entry_crc(owner, header, body));
  const std::size_t end = into.size() + entry_bytes(body.size());
  into.reserve(end);
  into.insert(into.end(), header.begin(), header.end());
  into.insert(into.end(), body.begin(), body.end());
  into.resize(end);  // zero padding
}

bool has_entry_marker(std::span<const std::byte> bytes) {
  return bytes.size() >= kMarker.size() && std::equal(kMarker.begin(), kMarker.end(), bytes.begin());
}

std::optional<EntryHeader> decode_entry_header(std::span<const std::byte> bytes) {
  CRESTGATE_EXPECTS(bytes.size() >= kEntryHeaderBytes);
  const EntryHeader header{.body_length = get<std::uint32_t>(bytes, kLengthAt),
                           .number = get<std::uint64_t>(bytes, kNumberAt),
                           .kind = get<std::uint8_t>(bytes, kKindAt),
                           .crc = get<std::uint32_t>(bytes, kEntryCrcAt)};
  if (!has_entry_marker(bytes) || header.kind == 0 || header.body_length > kMaxBodyBytes) return std::nullopt;
  const std::uint64_t lowest = header.kind == kEndKind ? 0 : 1;
  if (header.number < lowest || header.number > kMaxRecordNumber) return std::nullopt;
  if (!all_zero(bytes.subspan(kKindAt + 1, kEntryCrcAt - kKindAt - 1))) return std::nullopt;
  return header;
}

std::array<std::byte, kEndBodyBytes> encode(const SegmentEnd& end) {
  std::array<std::byte, kEndBodyBytes> body{};
  put(body, 0, end.entries);
  put(body, sizeof(std::uint64_t), end.offset);
  return body;
}

std::optional<SegmentEnd> decode_segment_end(std::span<const std::byte> body) {
  if (body.size() != kEndBodyBytes) return std::nullopt;
  return SegmentEnd{.entries = get<std::uint64_t>(body, 0),
                    .offset = get<std::uint64_t>(body, sizeof(std::uint64_t))};
}

std::string segment_name(std::uint32_t segment) {
  const std::string digits = std::to_string(segment);
  const std::size_t zeros = digits.size() < kNameDigits ? kNameDigits - digits.size() : 0;
  return std::string(zeros, '0') + digits + std::string(kExtension);
}

std::optional<std::uint32_t> segment_of(std::string_view name) {
  if (!name.ends_with(kExtension)) return std::nullopt;
  const std::string_view digits = name.substr(0, name.size() - kExtension.size());
  std::uint32_t segment = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), segment);
  // One name per number: "1.ledger" or "0000001.ledger" would be a second name for segment 1.
  if (error != std::errc{} || segment == 0 || segment_name(segment) != name) return std::nullopt;
  return segment;
}

}  // namespace crestgate::protocol
