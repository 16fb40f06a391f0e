// SPDX-License-Identifier: Apache-2.0
// Writing, reading, rolling, finding; on the simulated disk.

#include <gtest/gtest.h>

#include "protocol/convert/convert.h"
#include "protocol/convert/digest.h"
#include "protocol/example_records.h"
#include "protocol/golden.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

using base::ErrorCode;

TEST(Ledger, GivesBackEveryRecordInOrder) {
  SimulatedDisk disk;
  const std::vector<base::Record> records = {example_document(), example_traverse(), example_judgement(),
                                             example_event()};
  auto writer = open_writer(disk);
  EXPECT_TRUE(writer->recovery().created);
  for (const base::Record& record : records) ASSERT_TRUE(writer->append(record).has_value());
  const Contents contents = read_all(disk);
  ASSERT_EQ(contents.entries.size(), records.size());
  for (std::size_t i = 0; i < records.size(); ++i) {
    EXPECT_EQ(contents.entries[i].number, i + 1);
    EXPECT_EQ(contents.entries[i].kind, kind_of(records[i]));
    const auto record = record_of(contents.entries[i]);
    ASSERT_TRUE(record.has_value()) << record.error().detail;
    EXPECT_EQ(*record, records[i]);
  }
  EXPECT_TRUE(contents.damage.empty());
  EXPECT_EQ(contents.unfinished_bytes, 0U);
}

TEST(Ledger, ReceiptNamesNumberDigestAndPlace) {
  SimulatedDisk disk;
  auto writer = open_writer(disk);
  ASSERT_TRUE(writer->append(note("one")).has_value());
  const auto receipt = writer->append(note("two"));
  ASSERT_TRUE(receipt.has_value());
  EXPECT_EQ(receipt->number, 2U);
  auto reader = LedgerReader::open(disk, kLedger);
  const auto entry = reader->read_at(receipt->place);
  ASSERT_TRUE(entry.has_value()) << entry.error().detail;
  EXPECT_EQ(entry->number, 2U);
  EXPECT_EQ(entry->digest, receipt->digest);
  EXPECT_EQ(digest_of(entry->body), receipt->digest);
  EXPECT_EQ(reader->read_at({1, receipt->place.offset + 8}).error().code, ErrorCode::kCorruptFile);
  EXPECT_EQ(reader->read_at({7, 64}).error().code, ErrorCode::kNotFound);
}

TEST(Ledger, SeveralRecordsShareOneSync) {
  SimulatedDisk disk;
  auto writer = open_writer(disk);
  const std::size_t before = disk.operations();
  const std::vector<base::Record> records = {note("a"), note("b"), note("c")};
  const auto receipts = writer->append(records);
  ASSERT_TRUE(receipts.has_value());
  ASSERT_EQ(receipts->size(), 3U);
  EXPECT_EQ((*receipts)[2].number, 3U);
  EXPECT_EQ(disk.operations() - before, 2U) << "one write, one sync";
  EXPECT_EQ(read_all(disk).entries.size(), 3U);
}

TEST(Ledger, AppendingNothingTouchesNothing) {
  SimulatedDisk disk;
  auto writer = open_writer(disk);
  const std::size_t before = disk.operations();
  const auto receipts = writer->append(std::span<const base::Record>());
  ASSERT_TRUE(receipts.has_value());
  EXPECT_TRUE(receipts->empty());
  EXPECT_EQ(disk.operations(), before);
}

TEST(Ledger, ARefusedRecordLeavesNothingBehind) {
  SimulatedDisk disk;
  auto writer = open_writer(disk);
  const std::size_t before = disk.operations();
  base::Traverse bad = example_traverse();
  bad.heights.spacing_mm = -1.0;
  const std::vector<base::Record> records = {note("good"), bad};
  const auto receipts = writer->append(records);
  ASSERT_FALSE(receipts.has_value());
  EXPECT_EQ(receipts.error().code, ErrorCode::kOutOfRange);
  EXPECT_EQ(disk.operations(), before);
  EXPECT_FALSE(writer->failure().has_value());
  EXPECT_EQ(writer->append(note("next"))->number, 1U);
}

TEST(Ledger, GoesOnAfterReopening) {
  SimulatedDisk disk;
  ASSERT_TRUE(open_writer(disk)->append(note("one")).has_value());
  auto writer = open_writer(disk);
  EXPECT_FALSE(writer->recovery().created);
  EXPECT_EQ(writer->recovery().entries, 1U);
  EXPECT_EQ(writer->recovery().last_number, 1U);
  EXPECT_EQ(writer->recovery().torn_bytes, 0U);
  EXPECT_EQ(writer->append(note("two"))->number, 2U);
  EXPECT_EQ(read_all(disk).entries.size(), 2U);
}

TEST(Ledger, RollsBySizeAndNumbersRunOn) {
  SimulatedDisk disk;
  constexpr std::uint64_t kSegmentBytes = 400;
  auto writer = open_writer(disk, kSegmentBytes);
  for (int i = 1; i <= 20; ++i) ASSERT_TRUE(writer->append(note(std::to_string(i))).has_value());
  const Contents contents = read_all(disk);
  ASSERT_EQ(contents.entries.size(), 20U);
  EXPECT_GT(contents.entries.back().place.segment, 2U);
  EXPECT_TRUE(contents.damage.empty());
  for (std::size_t i = 0; i < 20; ++i) EXPECT_EQ(contents.entries[i].number, i + 1);
  for (const std::string& path : disk.paths()) {
    // END may come on top.
    if (path.ends_with(".ledger")) {
      EXPECT_LE(disk.content(path).size(), kSegmentBytes + 40) << path;
    }
  }
}

TEST(Ledger, ARecordLongerThanASegmentGetsOneOfItsOwn) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, 256);
  ASSERT_TRUE(writer->append(note("small")).has_value());
  ASSERT_TRUE(writer->append(long_traverse(1000)).has_value());
  ASSERT_TRUE(writer->append(note("small")).has_value());
  const Contents contents = read_all(disk);
  ASSERT_EQ(contents.entries.size(), 3U);
  EXPECT_EQ(contents.entries[0].place.segment, 1U);
  EXPECT_EQ(contents.entries[1].place.segment, 2U);
  EXPECT_EQ(contents.entries[2].place.segment, 3U);
}

TEST(Ledger, FindsAnyRecordByNumber) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, 400);
  for (int i = 1; i <= 20; ++i) ASSERT_TRUE(writer->append(note(std::to_string(i))).has_value());
  auto reader = LedgerReader::open(disk, kLedger);
  for (const std::uint64_t number : {1U, 20U, 7U, 13U, 2U, 19U}) {
    const auto entry = reader->find(number);
    ASSERT_TRUE(entry.has_value()) << entry.error().detail;
    EXPECT_EQ(entry->number, number);
    EXPECT_EQ(std::get<base::Event>(*record_of(*entry)).detail, std::to_string(number));
  }
  EXPECT_EQ(reader->find(0).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(reader->find(21).error().code, ErrorCode::kNotFound);
  ASSERT_TRUE(writer->append(note("21")).has_value());
  EXPECT_TRUE(reader->find(21).has_value()) << "a reader sees what was appended meanwhile";
}

TEST(Ledger, AReaderFollowsAWriterIntoNewSegments) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, 400);
  auto reader = LedgerReader::open(disk, kLedger);
  for (std::uint64_t i = 1; i <= 20; ++i) {
    EXPECT_FALSE(reader->next()->has_value());
    ASSERT_TRUE(writer->append(note(std::to_string(i))).has_value());
    const auto entry = reader->next();
    ASSERT_TRUE(entry.has_value() && entry->has_value());
    EXPECT_EQ((*entry)->number, i);
  }
  EXPECT_TRUE(reader->damage().empty());
}

TEST(Ledger, AReaderNeverSeesHalfARecord) {
  SimulatedDisk disk;
  auto writer = open_writer(disk);
  ASSERT_TRUE(writer->append(note("one")).has_value());
  const std::size_t before = disk.content(kSegment1).size();
  ASSERT_TRUE(writer->append(note("two")).has_value());
  const Bytes whole = disk.content(kSegment1);
  disk.content(kSegment1).resize(before);
  auto reader = LedgerReader::open(disk, kLedger);
  ASSERT_TRUE(reader->next()->has_value());
  for (std::size_t size = before; size < whole.size(); ++size) {
    disk.content(kSegment1).assign(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size));
    EXPECT_FALSE(reader->next()->has_value());
    EXPECT_EQ(reader->unfinished_bytes(), size - before);
  }
  disk.content(kSegment1) = whole;
  EXPECT_EQ((*reader->next())->number, 2U);
  EXPECT_TRUE(reader->damage().empty());
}

TEST(Ledger, ASegmentIsReadByItselfUnderAnyName) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, 400);
  for (int i = 1; i <= 20; ++i) ASSERT_TRUE(writer->append(note(std::to_string(i))).has_value());
  disk.put("/copies/friday.bin", disk.content("/ledger/000002.ledger"));
  const Contents contents = read_all(disk, "/copies/friday.bin");
  ASSERT_FALSE(contents.entries.empty());
  EXPECT_EQ(contents.entries.front().place.segment, 2U);
  EXPECT_TRUE(contents.damage.empty());
}

TEST(Ledger, OldestSegmentsMayBeRemoved) {
  SimulatedDisk disk;
  auto writer = open_writer(disk, 400);
  for (int i = 1; i <= 20; ++i) ASSERT_TRUE(writer->append(note(std::to_string(i))).has_value());
  disk.erase(kSegment1);
  const Contents contents = read_all(disk);
  EXPECT_GT(contents.entries.front().number, 1U);
  EXPECT_EQ(contents.entries.back().number, 20U);
  EXPECT_TRUE(contents.damage.empty());
  EXPECT_EQ(LedgerReader::open(disk, kLedger)->find(1).error().code, ErrorCode::kNotFound);
}

TEST(Ledger, ASecondWriterIsTurnedAwayAndToldWhy) {
  SimulatedDisk disk;
  const auto first = open_writer(disk);
  const std::size_t before = disk.operations();
  const auto second = LedgerWriter::open(disk, kLedger, {});
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, ErrorCode::kBusy);
  EXPECT_NE(second.error().detail.find("/ledger"), std::string::npos) << second.error().detail;
  EXPECT_EQ(disk.operations(), before) << "it touched nothing";
}

TEST(Ledger, NothingThereIsSaidSo) {
  SimulatedDisk disk;
  EXPECT_EQ(LedgerReader::open(disk, "/nowhere").error().code, ErrorCode::kNotFound);
  disk.put("/empty/readme.txt", {});
  EXPECT_EQ(LedgerReader::open(disk, "/empty").error().code, ErrorCode::kNotFound);
  EXPECT_EQ(LedgerWriter::open(disk, "/no/such/parent", {}).error().code, ErrorCode::kNotFound);
}

// The file of the worked example in FORMAT.md, made from that page by tests/golden/ledger/v1/make_example.py.
TEST(Ledger, WritesTheWorkedExampleOfThePage) {
  SimulatedDisk disk;
  LedgerOptions options;
  options.ledger_id.emplace();
  for (std::size_t i = 0; i < options.ledger_id->size(); ++i)
    (*options.ledger_id)[i] = static_cast<std::byte>(i);
  auto writer = LedgerWriter::open(disk, kLedger, options);
  ASSERT_TRUE(writer.has_value());
  base::Event event;
  event.what = "hello";
  ASSERT_TRUE((*writer)->append(event).has_value());
  const Bytes& written = disk.content(kSegment1);
  const std::string text(reinterpret_cast<const char*>(written.data()), written.size());
  EXPECT_EQ(text, read_golden("ledger/v1/000001.ledger"));
}

TEST(Ledger, SegmentsAreDatedByTheClockGiven) {
  class FixedClock final : public base::Clock {
   public:
    [[nodiscard]] base::UtcInstant utc() const override { return {0x0102030405060708}; }
    [[nodiscard]] base::MonotonicInstant monotonic() const override { return {}; }
  };
  const FixedClock clock;
  SimulatedDisk disk;
  LedgerOptions options;
  options.clock = &clock;
  ASSERT_TRUE(LedgerWriter::open(disk, kLedger, options).has_value());
  const Bytes& bytes = disk.content(kSegment1);
  for (int i = 0; i < 8; ++i) EXPECT_EQ(std::to_integer<int>(bytes[24U + static_cast<unsigned>(i)]), 8 - i);
}

}  // namespace
}  // namespace crestgate::protocol
