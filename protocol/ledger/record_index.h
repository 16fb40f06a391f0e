// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/ledger: where the records of one segment lie, built by reading it once.

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "base/result.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/segment_scanner.h"

namespace crestgate::protocol {

// Threads  one at a time.
class RecordIndex {
 public:
  RecordIndex(std::unique_ptr<File> file, const EntryOwner& owner, std::optional<std::uint64_t> first_number);

  [[nodiscard]] std::uint32_t segment() const { return segment_; }
  [[nodiscard]] File& file() { return *file_; }

  // Purpose  where record `number` begins; empty if it is not in the segment. Reads on if the segment has
  //          grown.
  // Errors   those of the file.
  base::Result<std::optional<std::uint64_t>> offset_of(std::uint64_t number);

 private:
  struct Row {
    std::uint64_t number = 0;
    std::uint64_t offset = 0;
  };
  base::Outcome read_on();

  std::unique_ptr<File> file_;
  std::uint32_t segment_;
  SegmentScanner scanner_;
  std::vector<Row> rows_;  // numbers rise
};

}  // namespace crestgate::protocol
