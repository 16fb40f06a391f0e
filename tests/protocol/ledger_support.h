// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the ledger's tests share: opening, reading everything, and the invariant.

#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_reader.h"
#include "protocol/ledger/ledger_writer.h"

namespace crestgate::protocol {

inline const std::filesystem::path kLedger = "/ledger";
inline const std::string kSegment1 = "/ledger/000001.ledger";

struct Contents {
  std::vector<Entry> entries;
  std::vector<DamagedSpan> damage;
  std::uint64_t unfinished_bytes = 0;
  std::uint64_t skipped_unknown = 0;
};

// Fails the test if the ledger cannot be opened or read.
Contents read_all(FileSystem& files, const std::filesystem::path& path = kLedger);

// One line a record, one a damaged span, and the two counts; what read_ledger.py prints.
std::string listing(const Contents& contents);

// Fails the test if it cannot be opened.
std::unique_ptr<LedgerWriter> open_writer(FileSystem& files, std::uint64_t segment_bytes = 1U << 20U,
                                          const std::filesystem::path& path = kLedger);

// Every acknowledged record is there, intact; numbers rise by one; what else is there was submitted.
using Acknowledged = std::map<std::uint64_t, base::Digest>;
void expect_acknowledged(const Contents& contents, const Acknowledged& acknowledged);

std::uint64_t test_seed();  // CRESTGATE_TEST_SEED, or a fixed one; printed

// A fresh folder for real files, removed at the end.
class TemporaryFolder {
 public:
  TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  ~TemporaryFolder();
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

std::string read_file(const std::filesystem::path& path);

}  // namespace crestgate::protocol
