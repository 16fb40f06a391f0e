// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/ledger: reads the newest segment before a writer goes on, and cuts a torn tail off it.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <vector>

#include "base/result.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_directory.h"

namespace crestgate::protocol {

struct RecoveredSegment {
  std::unique_ptr<File> file;  // to append to; null: the segment is sealed or its header is damaged
  EntryOwner owner;
  std::uint64_t end = 0;  // of the last whole entry
  std::uint64_t first_number = 1;
  std::uint64_t next_number = 1;
  std::uint64_t entries = 0;
  std::uint64_t torn_bytes = 0;
  std::string torn_saved_as = {};
  std::vector<DamagedSpan> damaged = {};
};

// Pre     the caller holds the ledger's lock; `newest` is not foreign.
// Errors  kCorruptFile: the header is damaged and there is no way to know the ledger's id or the next number.
//         Those of the file system; then the segment is as it was, or already cut with its bytes saved.
base::Result<RecoveredSegment> recover(FileSystem& files, const std::filesystem::path& directory,
                                       const SegmentInfo& newest);

}  // namespace crestgate::protocol
