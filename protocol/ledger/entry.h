// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a ledger holds, and what was found wrong with it.

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "base/digest.h"
#include "base/record.h"
#include "base/result.h"
#include "protocol/convert/record_kind.h"

namespace crestgate::protocol {

// Where an entry begins: an index may keep it and read the entry again without a search.
struct EntryPlace {
  std::uint32_t segment = 0;
  std::uint64_t offset = 0;  // bytes from the start of the segment
  friend bool operator==(const EntryPlace&, const EntryPlace&) = default;
};

// One stored record.
struct Entry {
  std::uint64_t number = 0;
  RecordKind kind = RecordKind::kTraverse;
  std::vector<std::byte> body = {};  // protobuf, as stored
  base::Digest digest;               // SHA-256 of body
  EntryPlace place;
};

// The proof that a record is on the disk.
struct EntryReceipt {
  std::uint64_t number = 0;
  base::Digest digest;  // SHA-256 of the stored body
  EntryPlace place;
  friend bool operator==(const EntryReceipt&, const EntryReceipt&) = default;
};

// A part of a ledger that cannot be read, or records that are not there.
struct DamagedSpan {
  std::uint32_t segment = 0;
  std::uint64_t offset = 0;
  std::uint64_t length = 0;      // 0: nothing unreadable lies here, but records are missing
  std::uint64_t first_lost = 0;  // record numbers that are certainly missing; both 0: none known
  std::uint64_t last_lost = 0;
  std::string what = {};  // for a person
  friend bool operator==(const DamagedSpan&, const DamagedSpan&) = default;
};

// "segment 3 at 1304: 56 bytes unreadable, records 17 to 18 lost (...)"
[[nodiscard]] std::string to_line(const DamagedSpan& span);

// Errors  those of parse, with the record number in front.
base::Result<base::Record> record_of(const Entry& entry);

}  // namespace crestgate::protocol
