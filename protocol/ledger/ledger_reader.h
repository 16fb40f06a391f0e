// SPDX-License-Identifier: Apache-2.0
#pragma once
// Reads a ledger: in order, or one record by its number. Never changes a byte, needs no lock, and may read
// while a writer writes.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include "base/result.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"

namespace crestgate::protocol {

// Memory    one entry (at most 16 MiB), a window of 64 KiB, the damaged spans, and for find an index of one
//           segment (16 bytes a record).
// Threads   one at a time; several readers may read one ledger.
// Lifetime  `files` must outlive the reader.
class LedgerReader {
 public:
  // Purpose  opens a ledger's directory, or one segment file by itself (also a copy under another name).
  // Errors   kNotFound: nothing there, or a directory without segments. kCorruptFile: not a ledger.
  //          kNotSupported: a newer format version. Those of the file system. `detail` names the path.
  static base::Result<LedgerReader> open(FileSystem& files, const std::filesystem::path& path);

  LedgerReader(LedgerReader&& other) noexcept;
  LedgerReader& operator=(LedgerReader&& other) noexcept;
  LedgerReader(const LedgerReader&) = delete;
  LedgerReader& operator=(const LedgerReader&) = delete;
  ~LedgerReader();

  // Purpose  the next record of a known kind; empty at the end. May be called again after the end: it goes on
  //          when a writer has appended, into new segments too.
  // Errors   only those of the file system; damage is skipped and noted.
  base::Result<std::optional<Entry>> next();

  // Everything unreadable or missing that next() has passed, in order.
  [[nodiscard]] const std::vector<DamagedSpan>& damage() const;

  // Bytes after the last whole entry of the newest segment when next() last came to the end: an entry that is
  // being written, or the torn tail of a writer that died.
  [[nodiscard]] std::uint64_t unfinished_bytes() const;

  // Entries of kinds that this version does not know, passed by next().
  [[nodiscard]] std::uint64_t skipped_unknown() const;

  // Purpose  one record by its number, wherever next() is.
  // Errors   kNotFound: not in this ledger, or not readable. Those of the file system.
  base::Result<Entry> find(std::uint64_t number);

  // Purpose  the record at a place that an Entry or an EntryReceipt named; no search.
  // Errors   kNotFound: no such segment. kCorruptFile: no whole record there. Those of the file system.
  base::Result<Entry> read_at(const EntryPlace& place);

 private:
  class State;
  explicit LedgerReader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace crestgate::protocol
