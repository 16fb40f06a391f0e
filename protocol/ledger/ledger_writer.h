// SPDX-License-Identifier: Apache-2.0
#pragma once
// Writes a ledger. What append returns is on the disk.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/record.h"
#include "base/result.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_format.h"

namespace crestgate::protocol {

struct SegmentInfo;

struct LedgerOptions {
  std::uint64_t segment_bytes = std::uint64_t{64} << 20U;  // a new segment begins before this is exceeded
  const base::Clock* clock = nullptr;                      // dates new segments; null: "not known"
  std::optional<LedgerId> ledger_id = std::nullopt;        // of a new ledger; absent: random
};

// What opening found, and what it had to repair. The caller writes an Event about a repair or damage.
struct RecoveryReport {
  bool created = false;            // there was no ledger before
  std::uint32_t segment = 0;       // the newest, which was read whole
  std::uint64_t entries = 0;       // whole entries in it
  std::uint64_t last_number = 0;   // of the ledger; 0: no record yet
  std::uint64_t torn_bytes = 0;    // cut off the end of it
  std::string torn_saved_as = {};  // file name in the ledger's directory that keeps these bytes; "" if none
  std::vector<DamagedSpan> damaged = {};  // in the newest segment, of all headers, and missing segments
};

// Threads   one at a time.
// Lifetime  `files` and the options' clock must outlive the writer.
class LedgerWriter {
 public:
  // Purpose  opens the ledger of a directory for appending, creating both if needed (not the directory's
  //          parent); repairs the tail that a crash left. See FORMAT.md, "Repair".
  // Errors   kBusy: another writer has it. kCorruptFile: the newest segment is foreign, or its header is
  //          damaged and cannot be made up for. kNotSupported: a newer version. Those of the file system,
  //          kNoSpace among them. `detail` names the ledger.
  static base::Result<std::unique_ptr<LedgerWriter>> open(FileSystem& files,
                                                          const std::filesystem::path& directory,
                                                          const LedgerOptions& options);

  // Purpose  appends one record; durable when it returns.
  // Errors   those of serialise: nothing was written. kNoSpace: nothing was kept; may succeed later, unless
  //          failure() says otherwise. Anything else: this writer is at its end, see failure().
  base::Result<EntryReceipt> append(const base::Record& record);

  // Purpose  several records with one write and one sync, all in one segment; receipts in the same order.
  // Errors   as above, for all of them together. After a crash in the middle some may be there, none was
  //          acknowledged.
  base::Result<std::vector<EntryReceipt>> append(std::span<const base::Record> records);

  [[nodiscard]] const RecoveryReport& recovery() const { return recovery_; }
  [[nodiscard]] std::uint64_t last_number() const { return next_number_ - 1; }
  [[nodiscard]] const LedgerId& ledger_id() const { return owner_.ledger_id; }

  // Set for good when a sync failed, or when what the file holds is not known any more. Every append then
  // returns it. A new process may open the ledger again; it finds everything that was acknowledged.
  [[nodiscard]] const std::optional<base::Error>& failure() const { return failure_; }

 private:
  LedgerWriter(FileSystem& files, std::filesystem::path directory, const LedgerOptions& options);

  base::Outcome start();
  base::Outcome start_new_ledger();
  base::Outcome continue_ledger(const std::vector<SegmentInfo>& segments);
  base::Outcome make_room(std::uint64_t bytes);
  base::Outcome seal();
  base::Outcome create_segment(std::uint32_t segment);
  base::Outcome write(std::span<const std::byte> bytes);
  base::Outcome sync(File& file);
  base::Error fail(base::Error error);
  [[nodiscard]] base::Error in_ledger(const base::Error& error) const;

  FileSystem& files_;
  std::filesystem::path directory_;
  LedgerOptions options_;
  std::unique_ptr<FileLock> lock_;
  RecoveryReport recovery_;
  std::optional<base::Error> failure_ = std::nullopt;

  EntryOwner owner_;
  std::unique_ptr<File> file_;      // null: the newest segment is closed to us, the next one is owed
  std::uint64_t end_ = 0;           // of the last good entry; the next one begins here
  std::uint64_t first_number_ = 1;  // of the newest segment
  std::uint64_t next_number_ = 1;
  std::vector<std::byte> buffer_ = {};
};

}  // namespace crestgate::protocol
