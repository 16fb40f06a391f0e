// SPDX-License-Identifier: Apache-2.0
// A reader follows a writer that is at work on real files, over many rolls.

#include <thread>

#include <gtest/gtest.h>

#include "protocol/example_records.h"
#include "protocol/ledger_support.h"

namespace crestgate::protocol {
namespace {

TEST(LedgerConcurrent, AReaderSeesEveryRecordOnceAndNoDamageWhileAWriterWrites) {
  constexpr std::uint64_t kRecords = 150;
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  const std::filesystem::path ledger = folder.path() / "ledger";
  auto writer = open_writer(*files, 40'000, ledger);
  std::thread writing([&writer] {
    for (std::uint64_t i = 1; i <= kRecords; ++i) {
      const auto receipt = writer->append(long_traverse(i * 97 % 3000));
      ASSERT_TRUE(receipt.has_value()) << receipt.error().detail;
    }
  });
  auto reader = LedgerReader::open(*files, ledger);
  std::uint64_t seen = 0;
  while (reader && seen < kRecords && !HasFailure()) {
    const auto entry = reader->next();
    if (!entry) {
      ADD_FAILURE() << entry.error().detail;
    } else if (*entry) {
      EXPECT_EQ((*entry)->number, ++seen);
    } else {
      std::this_thread::yield();
    }
  }
  writing.join();
  EXPECT_EQ(seen, kRecords);
  EXPECT_TRUE(reader->damage().empty());
  EXPECT_GT(read_all(*files, ledger).entries.back().place.segment, 5U);
}

}  // namespace
}  // namespace crestgate::protocol
