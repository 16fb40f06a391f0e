// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/ledger: reads the entries of one segment in order, and finds the next whole one after
// damage. The rules are those of FORMAT.md, "Reading".

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_format.h"

namespace crestgate::protocol {

struct ScanItem {
  enum class What {
    kEntry,
    kEnd,   // the segment is sealed here
    kTail,  // nothing whole from here to the limit; tail_bytes may be 0
  };
  What what = What::kTail;
  std::uint64_t offset = 0;  // of the entry, or of the tail
  std::uint64_t tail_bytes = 0;
  EntryHeader header;                    // kEntry and kEnd
  std::vector<DamagedSpan> damage = {};  // before the entry, or its padding
};

// Where a scan begins and what it knows.
struct ScanStart {
  EntryOwner owner;
  std::optional<std::uint64_t> expected_number = std::nullopt;  // absent: any number may come first
  std::optional<std::uint64_t> first_number = std::nullopt;     // of the segment, as its header says
  std::uint64_t offset = kSegmentHeaderBytes;
};

// Memory    one entry and a window of 64 KiB.
// Errors    only those of the file; damage is not an error.
// Threads   one at a time.
class SegmentScanner {
 public:
  explicit SegmentScanner(const ScanStart& start) : at_(start) {}

  // Purpose  the next entry, of which every byte lies below `limit` (a size of the file taken before the
  //          call). On kTail and kEnd the scan stays where it is, so that it can go on when the file has
  //          grown.
  base::Result<ScanItem> next(File& file, std::uint64_t limit);

  // Of the last kEntry or kEnd, until the next call.
  [[nodiscard]] std::span<const std::byte> body() const;

  [[nodiscard]] std::optional<std::uint64_t> expected_number() const { return at_.expected_number; }

  // The place and knowledge of the scan; giving it back repeats the last step.
  [[nodiscard]] const ScanStart& state() const { return at_; }
  void go_back(const ScanStart& state) { at_ = state; }

 private:
  base::Result<std::optional<EntryHeader>> whole_at(File& file, std::uint64_t offset, std::uint64_t limit);
  base::Result<std::optional<std::uint64_t>> search(File& file, std::uint64_t from, std::uint64_t limit,
                                                    EntryHeader& found);
  std::optional<EntryHeader> refuse(std::string_view why);
  [[nodiscard]] bool number_fits(const EntryHeader& header) const;
  void note_missing(const EntryHeader& header, ScanItem& item) const;
  void note_padding(const EntryHeader& header, ScanItem& item) const;
  void note_end(const EntryHeader& header, ScanItem& item) const;

  ScanStart at_;
  std::vector<std::byte> content_ = {};  // body and padding
  std::size_t body_length_ = 0;
  std::string_view why_not_whole_;
};

// Purpose  the one entry at a known place.
// Errors   kCorruptFile if none is whole there, and those of the file.
base::Result<Entry> read_entry(File& file, const EntryOwner& owner, std::uint64_t offset);

}  // namespace crestgate::protocol
