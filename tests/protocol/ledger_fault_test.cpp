// SPDX-License-Identifier: Apache-2.0
// The k-th operation of a scenario fails, for every k, in every way. Whatever happens, what was acknowledged
// is there afterwards, and a ledger that can be mended goes on.

#include <gtest/gtest.h>

#include "protocol/example_records.h"
#include "protocol/faulty_files.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

using base::ErrorCode;

constexpr std::uint64_t kSmallSegment = 300;  // three or four notes: the scenario rolls several times

class Scenario {
 public:
  Scenario(SimulatedDisk& disk, FaultyFiles& files) : disk_(disk), files_(files) {}

  // Opens, appends one by one and together, and does so again after a crash that left half an entry.
  void run() {
    session(6);
    tear();
    session(3);
  }

  Acknowledged acknowledged;
  std::uint64_t submitted = 0;

 private:
  void session(int rounds) {
    auto writer = open();
    ASSERT_NE(writer, nullptr);
    for (int i = 0; i < rounds; ++i) {
      submit(*writer, {note("single " + std::to_string(i))});
      submit(*writer, {note("a " + std::to_string(i)), note("b"), note("c")});
      if (!writer->failure()) continue;
      writer.reset();
      writer = open();
      ASSERT_NE(writer, nullptr);
    }
  }

  // The fault fires once, so a second try succeeds.
  std::unique_ptr<LedgerWriter> open() {
    LedgerOptions options;
    options.segment_bytes = kSmallSegment;
    auto writer = LedgerWriter::open(files_, kLedger, options);
    if (!writer) {
      EXPECT_TRUE(files_.fired()) << writer.error().detail;
      EXPECT_NE(writer.error().detail.find("/ledger"), std::string::npos) << writer.error().detail;
      writer = LedgerWriter::open(files_, kLedger, options);
    }
    if (writer) return *std::move(writer);
    ADD_FAILURE() << writer.error().detail;
    return nullptr;
  }

  void submit(LedgerWriter& writer, const std::vector<base::Record>& records) {
    auto receipts = writer.append(records);
    submitted += records.size();
    if (!receipts && !writer.failure()) {
      EXPECT_EQ(receipts.error().code, ErrorCode::kNoSpace) << "anything else ends the writer";
      receipts = writer.append(records);
      EXPECT_TRUE(receipts.has_value()) << "there is space again";
    }
    if (!receipts) {
      ASSERT_TRUE(writer.failure().has_value());
      const std::size_t before = disk_.operations();
      const auto again = writer.append(records);
      EXPECT_FALSE(again.has_value()) << "a writer that failed acknowledges nothing more";
      EXPECT_EQ(disk_.operations(), before) << "and touches nothing";
      return;
    }
    for (const EntryReceipt& receipt : *receipts) acknowledged[receipt.number] = receipt.digest;
  }

  // What a killed process may leave behind in a segment that is not sealed.
  void tear() {
    std::string newest;
    for (const std::string& path : disk_.paths()) {
      if (path.ends_with(".ledger")) newest = path;
    }
    Bytes& bytes = disk_.content(newest);
    constexpr std::size_t kEndBytes = kEntryHeaderBytes + kEndBodyBytes;
    constexpr std::size_t kKindAt = 16;
    const bool sealed = bytes.size() >= kSegmentHeaderBytes + kEndBytes &&
                        bytes[bytes.size() - kEndBytes + kKindAt] == std::byte{kEndKind};
    if (sealed) return;
    bytes.insert(bytes.end(), {std::byte{0xE5}, std::byte{'C'}, std::byte{'G'}});
  }

  SimulatedDisk& disk_;
  FaultyFiles& files_;
};

class LedgerFault : public testing::TestWithParam<Fault> {};

TEST_P(LedgerFault, AtEveryOperationLeavesWhatWasAcknowledged) {
  std::uint64_t k = 1;
  for (;; ++k) {
    SCOPED_TRACE("operation " + std::to_string(k));
    SimulatedDisk disk;
    FaultyFiles files(disk, k, GetParam());
    Scenario scenario(disk, files);
    scenario.run();
    if (HasFailure()) return;
    Contents contents = read_all(disk);
    EXPECT_TRUE(contents.damage.empty()) << to_line(contents.damage.front());
    expect_acknowledged(contents, scenario.acknowledged);
    if (!files.failed_a_sync()) {
      EXPECT_EQ(contents.entries.size(), scenario.acknowledged.size()) << "and nothing else";
    }
    // Opened once more without faults it takes records.
    auto writer = open_writer(disk, kSmallSegment);
    ASSERT_NE(writer, nullptr);
    EXPECT_TRUE(writer->append(note("afterwards")).has_value());
    for (const std::string& path : disk.paths()) EXPECT_FALSE(path.ends_with(".new")) << path;
    if (HasFailure()) return;
    if (!files.fired()) break;
  }
  EXPECT_GT(k, 100U) << "the scenario has that many operations";
  RecordProperty("operations", static_cast<int>(k - 1));
}

INSTANTIATE_TEST_SUITE_P(Every, LedgerFault, testing::Values(Fault::kIo, Fault::kNoSpace, Fault::kShortWrite),
                         [](const auto& param_info) {
                           switch (param_info.param) {
                             case Fault::kIo:
                               return "Io";
                             case Fault::kNoSpace:
                               return "NoSpace";
                             case Fault::kShortWrite:
                               return "ShortWrite";
                           }
                           return "";
                         });

// Reading: each failing read is an error, not a shorter ledger.
TEST(LedgerReadFault, AtEveryOperationIsAnErrorNotAnEnd) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, kSmallSegment);
  for (int i = 0; i < 10; ++i) ASSERT_TRUE(writer->append(note("x")).has_value());
  bool fired = true;
  for (std::uint64_t k = 1; fired; ++k) {
    FaultyFiles files(disk, k, Fault::kIo);
    std::size_t seen = 0;
    bool failed = false;
    auto reader = LedgerReader::open(files, kLedger);
    if (!reader) failed = true;
    while (reader && !failed) {
      const auto entry = reader->next();
      if (!entry)
        failed = true;
      else if (!*entry)
        break;
      else
        ++seen;
    }
    fired = files.fired();
    EXPECT_EQ(failed, fired) << k;
    if (!failed) {
      EXPECT_EQ(seen, 10U);
    }
  }
}

TEST(LedgerFullDisk, LeavesNoTraceOfWhatDidNotFit) {
  SimulatedDisk disk;
  FaultyFiles none(disk, 0, Fault::kNoSpace);
  { ASSERT_NE(open_writer(none), nullptr); }
  const std::uint64_t write_at = none.operations();  // opening again costs some more; found below
  bool met = false;
  for (std::uint64_t k = 1; k < write_at + 60 && !met; ++k) {
    const auto copy = disk.copy();
    FaultyFiles files(*copy, k, Fault::kNoSpace);
    const auto writer = LedgerWriter::open(files, kLedger, {});
    if (!writer || files.fired()) continue;
    const Bytes before = copy->content(kSegment1);
    const auto receipt = (*writer)->append(note("does not fit"));
    if (receipt || (*writer)->failure()) continue;
    met = true;
    EXPECT_EQ(receipt.error().code, ErrorCode::kNoSpace);
    EXPECT_EQ(copy->content(kSegment1), before);
    EXPECT_TRUE((*writer)->append(note("fits")).has_value());
  }
  EXPECT_TRUE(met);
}

}  // namespace
}  // namespace crestgate::protocol
