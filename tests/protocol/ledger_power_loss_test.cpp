// SPDX-License-Identifier: Apache-2.0
// The power goes at every moment of a scenario. Of what was not synced any sectors may be missing, torn or
// there without the ones before them; names may be missing too. What was acknowledged is there.

#include <algorithm>

#include <gtest/gtest.h>

#include "protocol/example_records.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

constexpr std::uint64_t kSegmentBytes = 24'000;
constexpr int kRecords = 200;
constexpr int kRandomLossesPerMoment = 6;

struct Moment {
  std::size_t operation = 0;  // acknowledged when so many operations were done
  EntryReceipt receipt;
};

class PowerLoss : public testing::Test {
 protected:
  // 200 records of 40 to 1600 bytes (so that an entry spans sectors), some together, with rolls.
  void play() {
    auto writer = open_writer(disk_, kSegmentBytes);
    int written = 0;
    while (written < kRecords) {
      std::vector<base::Record> records;
      const int together = written % 7 == 3 ? 4 : 1;
      for (int i = 0; i < together && written < kRecords; ++i, ++written) {
        const auto samples = static_cast<std::size_t>(written * 37 % 400);
        if (written % 3 == 0)
          records.emplace_back(note("number " + std::to_string(written)));
        else
          records.emplace_back(long_traverse(samples + 1));
      }
      const auto receipts = writer->append(records);
      ASSERT_TRUE(receipts.has_value()) << receipts.error().detail;
      for (const EntryReceipt& receipt : *receipts) acknowledged_.push_back({disk_.operations(), receipt});
    }
    segments_ = acknowledged_.back().receipt.place.segment;
  }

  [[nodiscard]] Acknowledged until(std::size_t operation) const {
    Acknowledged numbers;
    for (const Moment& moment : acknowledged_) {
      if (moment.operation <= operation) numbers[moment.receipt.number] = moment.receipt.digest;
    }
    return numbers;
  }

  // The ledger as the next start finds it takes records, and holds what was acknowledged before and after.
  static void expect_mended(SimulatedDisk& disk, Acknowledged acknowledged) {
    auto writer = open_writer(disk, kSegmentBytes);
    ASSERT_NE(writer, nullptr);
    const auto receipt = writer->append(note("after the loss"));
    ASSERT_TRUE(receipt.has_value()) << receipt.error().detail;
    ASSERT_EQ(acknowledged.count(receipt->number), 0U) << "a number is never used twice";
    acknowledged[receipt->number] = receipt->digest;
    const Contents contents = read_all(disk);
    expect_acknowledged(contents, acknowledged);
    EXPECT_EQ(contents.unfinished_bytes, 0U);
    for (const DamagedSpan& span : contents.damage) {
      for (std::uint64_t lost = span.first_lost; lost != 0 && lost <= span.last_lost; ++lost) {
        EXPECT_EQ(acknowledged.count(lost), 0U) << to_line(span);
      }
    }
  }

  SimulatedDisk disk_;
  std::vector<Moment> acknowledged_;
  std::uint32_t segments_ = 0;
};

TEST_F(PowerLoss, AtEveryOperationKeepsWhatWasAcknowledged) {
  const std::uint64_t seed = test_seed();
  play();
  ASSERT_FALSE(HasFailure());
  EXPECT_GE(segments_, 3U);
  int crashes = 0;
  for (std::size_t operation = 0; operation <= disk_.operations(); ++operation) {
    const Acknowledged acknowledged = until(operation);
    for (int turn = 0; turn < 2 + kRandomLossesPerMoment; ++turn, ++crashes) {
      SCOPED_TRACE("operation " + std::to_string(operation) + " turn " + std::to_string(turn));
      const Loss loss = turn == 0 ? Loss::kNothingKept : turn == 1 ? Loss::kAllKept : Loss::kRandom;
      const auto disk =
          disk_.after_crash(operation, loss, seed + operation * 100 + static_cast<unsigned>(turn));
      expect_mended(*disk, acknowledged);
      if (HasFailure()) return;
    }
  }
  RecordProperty("crashes", crashes);
}

TEST_F(PowerLoss, DuringTheRepairItselfKeepsWhatWasAcknowledged) {
  const std::uint64_t seed = test_seed();
  play();
  ASSERT_FALSE(HasFailure());
  for (std::size_t operation = 20; operation < disk_.operations(); operation += 11) {
    const Acknowledged acknowledged = until(operation);
    const auto first = disk_.after_crash(operation, Loss::kRandom, seed + operation);
    { ASSERT_NE(open_writer(*first, kSegmentBytes), nullptr); }
    for (std::size_t again = 0; again <= first->operations(); ++again) {
      SCOPED_TRACE("operation " + std::to_string(operation) + " then " + std::to_string(again));
      expect_mended(*first->after_crash(again, Loss::kRandom, seed + again), acknowledged);
      if (HasFailure()) return;
    }
  }
}

// A killed process may leave a whole entry that it had not synced. Once a new writer has counted it, it
// stays: its number may have been told to others.
TEST_F(PowerLoss, ARecordCountedByTheRepairOutlivesTheNextLoss) {
  auto writer = open_writer(disk_);
  ASSERT_TRUE(writer->append(note("one")).has_value());
  Bytes second;
  append_entry({writer->ledger_id(), 1}, 2, static_cast<std::uint8_t>(RecordKind::kEvent), {}, second);
  writer.reset();
  { ASSERT_TRUE((*disk_.open(kSegment1, Access::kAppend))->append(second).has_value()); }
  EXPECT_EQ(open_writer(disk_)->recovery().last_number, 2U);
  const auto after = disk_.after_crash(disk_.operations(), Loss::kNothingKept, 1);
  EXPECT_EQ(open_writer(*after)->recovery().last_number, 2U);
}

TEST_F(PowerLoss, BytesThatTheRepairCutOffOutliveTheNextLoss) {
  { ASSERT_TRUE(open_writer(disk_)->append(note("one")).has_value()); }
  const Bytes torn(1000, std::byte{0x5A});
  { ASSERT_TRUE((*disk_.open(kSegment1, Access::kAppend))->append(torn).has_value()); }
  const std::size_t before = disk_.operations();
  std::string name;
  { name = "/ledger/" + open_writer(disk_)->recovery().torn_saved_as; }
  for (std::size_t operation = before; operation <= disk_.operations(); ++operation) {
    // Wherever the power goes, the bytes are still in the segment or already in the file beside it.
    const auto after = disk_.after_crash(operation, Loss::kNothingKept, 1);
    const auto kept = disk_.after_crash(operation, Loss::kAllKept, 1);
    const auto paths = after->paths();
    const bool saved =
        std::find(paths.begin(), paths.end(), name) != paths.end() && after->content(name) == torn;
    EXPECT_TRUE(saved || kept->content(kSegment1).size() > torn.size()) << operation - before;
  }
}

// The test itself is tested: a ledger that did not sync would be caught.
TEST_F(PowerLoss, TheSimulatedDiskLosesWhatWasNotSynced) {
  SimulatedDisk disk;
  auto file = disk.open("/x", Access::kCreate);
  ASSERT_TRUE((*file)->append(Bytes(1000, std::byte{7})).has_value());
  EXPECT_TRUE(disk.after_crash(disk.operations(), Loss::kNothingKept, 1)->paths().empty());
  ASSERT_TRUE(disk.sync_directory("/").has_value());
  EXPECT_TRUE(disk.after_crash(disk.operations(), Loss::kNothingKept, 1)->content("/x").empty());
  ASSERT_TRUE((*file)->sync_data().has_value());
  EXPECT_EQ(disk.after_crash(disk.operations(), Loss::kNothingKept, 1)->content("/x").size(), 1000U);
  ASSERT_TRUE((*file)->append(Bytes(1024, std::byte{8})).has_value());
  bool torn = false;
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    const auto after = disk.after_crash(disk.operations(), Loss::kRandom, seed);
    const Bytes& bytes = after->content("/x");
    ASSERT_GE(bytes.size(), 1000U);
    torn = torn || (bytes.size() == 2024 && bytes[1500] == std::byte{0} && bytes[2023] == std::byte{8});
  }
  EXPECT_TRUE(torn) << "a later sector is there without the one before it";
}

}  // namespace
}  // namespace crestgate::protocol
