// SPDX-License-Identifier: Apache-2.0
// Every row of the table in FORMAT.md, "Reading"; every bit; every length.

#include <algorithm>
#include <array>
#include <span>

#include <gtest/gtest.h>

#include "protocol/example_records.h"
#include "protocol/ledger/crc32c.h"
#include "protocol/ledger/ledger_format.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

using base::ErrorCode;

// A disk with one segment of `count` notes, and where each entry begins; the last place is the end.
class Notes {
 public:
  explicit Notes(int count, std::uint64_t segment_bytes = 1U << 20U) {
    auto writer = open_writer(disk, segment_bytes);
    for (int i = 1; i <= count; ++i)
      places.push_back(writer->append(note("number " + std::to_string(i)))->place);
    owner = {writer->ledger_id(), 1};
  }
  Bytes& bytes() { return disk.content(kSegment1); }
  [[nodiscard]] std::size_t offset(std::size_t index) const { return places[index].offset; }
  void cut_to(std::size_t size) { bytes().resize(size); }
  void append_raw(std::uint64_t number, std::uint8_t kind, std::string_view body) {
    append_entry(owner, number, kind, std::as_bytes(std::span(body)), bytes());
  }

  SimulatedDisk disk;
  std::vector<EntryPlace> places;
  EntryOwner owner;
};

std::vector<std::uint64_t> numbers_of(const Contents& contents) {
  std::vector<std::uint64_t> numbers;
  for (const Entry& entry : contents.entries) numbers.push_back(entry.number);
  return numbers;
}

using Numbers = std::vector<std::uint64_t>;

TEST(LedgerCorruption, TornTailOfTheNewestSegmentIsUnfinishedNotDamage) {
  Notes notes(3);
  notes.cut_to(notes.bytes().size() - 8);
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2}));
  EXPECT_TRUE(contents.damage.empty());
  EXPECT_EQ(contents.unfinished_bytes, notes.bytes().size() - notes.offset(2));
}

TEST(LedgerCorruption, ZerosAtTheEndAreUnfinishedNotDamage) {
  Notes notes(2);
  notes.bytes().resize(notes.bytes().size() + 4096);
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2}));
  EXPECT_EQ(contents.unfinished_bytes, 4096U);
}

TEST(LedgerCorruption, DamageInTheMiddleIsPassedAndReportedWithTheNumbers) {
  Notes notes(5);
  notes.bytes()[notes.offset(1) + 30] ^= std::byte{1};
  notes.bytes()[notes.offset(2) + 30] ^= std::byte{1};
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 4, 5}));
  ASSERT_EQ(contents.damage.size(), 1U);
  const DamagedSpan& span = contents.damage[0];
  EXPECT_EQ(span.offset, notes.offset(1));
  EXPECT_EQ(span.length, notes.offset(3) - notes.offset(1));
  EXPECT_EQ(span.first_lost, 2U);
  EXPECT_EQ(span.last_lost, 3U);
  EXPECT_FALSE(span.what.empty());
}

TEST(LedgerCorruption, PaddingThatIsNotZeroIsReportedAndTheEntryUsed) {
  Notes notes(3);
  ASSERT_NE(notes.bytes()[notes.offset(1) - 9], std::byte{0xFF});
  std::size_t last = notes.offset(1) - 1;
  ASSERT_EQ(notes.bytes()[last], std::byte{0}) << "this entry has padding";
  notes.bytes()[last] = std::byte{1};
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2, 3}));
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].offset + contents.damage[0].length, notes.offset(1));
  EXPECT_EQ(contents.damage[0].last_lost, 0U);
}

TEST(LedgerCorruption, ImpossibleLengthIsNotAllocatedNorBelieved) {
  for (const std::byte top : {std::byte{0x00}, std::byte{0x7F}, std::byte{0xFF}}) {
    Notes notes(3);
    for (std::size_t i = 4; i < 7; ++i) notes.bytes()[notes.offset(1) + i] = std::byte{0xFF};
    notes.bytes()[notes.offset(1) + 7] = top;
    const Contents contents = read_all(notes.disk);
    EXPECT_EQ(numbers_of(contents), (Numbers{1, 3}));
    ASSERT_EQ(contents.damage.size(), 1U);
    EXPECT_EQ(contents.damage[0].first_lost, 2U);
  }
}

TEST(LedgerCorruption, AnEntryOfAnotherSegmentIsNotTaken) {
  Notes notes(2);
  const EntryOwner other{notes.owner.ledger_id, 2};
  append_entry(other, 3, 3, {}, notes.bytes());
  EXPECT_EQ(numbers_of(read_all(notes.disk)), (Numbers{1, 2}));
}

TEST(LedgerCorruption, AnEntryOfAnotherLedgerIsNotTaken) {
  Notes notes(2);
  Notes other(3);
  const auto third = std::span(other.bytes()).subspan(other.offset(2));
  notes.bytes().insert(notes.bytes().end(), third.begin(), third.end());
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2}));
  EXPECT_EQ(contents.unfinished_bytes, third.size());
}

TEST(LedgerCorruption, AnEntryThatWasThereBeforeIsNotTakenAgain) {
  Notes notes(3);
  const Bytes second(notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(1)),
                     notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(2)));
  notes.bytes().insert(notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(2)), second.begin(),
                       second.end());
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2, 3}));
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].length, second.size());
  EXPECT_EQ(contents.damage[0].last_lost, 0U);
}

TEST(LedgerCorruption, UnknownKindsAreSkippedAndCounted) {
  Notes notes(2);
  notes.append_raw(3, 5, "from a later version");
  notes.append_raw(4, 200, "private");
  const auto sealed = open_writer(notes.disk);
  EXPECT_EQ(sealed->recovery().last_number, 4U);
  ASSERT_EQ(sealed->append(note("five"))->number, 5U);
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 2, 5}));
  EXPECT_EQ(contents.skipped_unknown, 2U);
  EXPECT_TRUE(contents.damage.empty());
}

TEST(LedgerCorruption, RecordsCutOutCleanlyAreMissed) {
  Notes notes(4);
  notes.bytes().erase(notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(1)),
                      notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(3)));
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(numbers_of(contents), (Numbers{1, 4}));
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].length, 0U);
  EXPECT_EQ(contents.damage[0].first_lost, 2U);
  EXPECT_EQ(contents.damage[0].last_lost, 3U);
}

// Twenty notes then lie in two sealed segments and a newest one.
constexpr std::uint64_t kSmallSegment = 400;

TEST(LedgerCorruption, ASealedSegmentCutShortLosesItsTailByNumber) {
  Notes notes(20, kSmallSegment);
  ASSERT_EQ(notes.places[4].segment, 1U);
  const Contents before = read_all(notes.disk);
  const auto in_first = static_cast<std::size_t>(std::count_if(
      notes.places.begin(), notes.places.end(), [](const EntryPlace& p) { return p.segment == 1; }));
  notes.cut_to(notes.offset(in_first - 1) + 10);
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(contents.entries.size(), before.entries.size() - 1);
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].offset, notes.offset(in_first - 1));
  EXPECT_EQ(contents.damage[0].length, 10U);
  EXPECT_EQ(contents.damage[0].first_lost, in_first);
  EXPECT_EQ(contents.damage[0].last_lost, in_first);
}

TEST(LedgerCorruption, ASealedSegmentWithoutEndIsReported) {
  Notes notes(20, kSmallSegment);
  notes.cut_to(notes.bytes().size() - entry_bytes(kEndBodyBytes));
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(contents.entries.size(), 20U);
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].length, 0U);
  EXPECT_EQ(contents.damage[0].offset, notes.bytes().size());
}

TEST(LedgerCorruption, AnEndThatDoesNotAgreeIsReported) {
  for (const SegmentEnd wrong :
       {SegmentEnd{.entries = 1, .offset = 0}, SegmentEnd{.entries = 0, .offset = 1}}) {
    Notes notes(20, kSmallSegment);
    const auto in_first = static_cast<std::uint64_t>(std::count_if(
        notes.places.begin(), notes.places.end(), [](const EntryPlace& p) { return p.segment == 1; }));
    const std::uint64_t end = notes.bytes().size() - entry_bytes(kEndBodyBytes);
    notes.cut_to(end);
    append_entry(notes.owner, in_first, kEndKind,
                 encode(SegmentEnd{.entries = in_first + wrong.entries, .offset = end + wrong.offset}),
                 notes.bytes());
    const Contents contents = read_all(notes.disk);
    EXPECT_EQ(contents.entries.size(), 20U);
    ASSERT_EQ(contents.damage.size(), 1U);
    EXPECT_EQ(contents.damage[0].offset, end);
  }
}

TEST(LedgerCorruption, BytesAfterEndAreReported) {
  Notes notes(20, kSmallSegment);
  const std::uint64_t end = notes.bytes().size();
  append_entry(notes.owner, 99, 3, {}, notes.bytes());
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(contents.entries.size(), 20U);
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].offset, end);
  EXPECT_EQ(contents.damage[0].length, 24U);
}

TEST(LedgerCorruption, AMissingSegmentIsReportedWithItsNumbers) {
  Notes notes(20, kSmallSegment);
  std::vector<std::uint64_t> lost;
  for (std::size_t i = 0; i < notes.places.size(); ++i) {
    if (notes.places[i].segment == 2) lost.push_back(i + 1);
  }
  notes.disk.erase("/ledger/000002.ledger");
  const Contents contents = read_all(notes.disk);
  EXPECT_EQ(contents.entries.size(), 20 - lost.size());
  ASSERT_EQ(contents.damage.size(), 1U);
  EXPECT_EQ(contents.damage[0].segment, 2U);
  EXPECT_EQ(contents.damage[0].first_lost, lost.front());
  EXPECT_EQ(contents.damage[0].last_lost, lost.back());
  const auto writer = open_writer(notes.disk, kSmallSegment);
  ASSERT_EQ(writer->recovery().damaged.size(), 1U) << "the writer sees it too";
}

TEST(LedgerCorruption, ADamagedHeaderCostsOnlyTheHeader) {
  for (const std::size_t byte : {0U, 5U, 9U, 13U, 17U, 25U, 33U, 49U, 61U}) {
    for (const char* damaged : {"/ledger/000001.ledger", "/ledger/000002.ledger"}) {
      Notes notes(20, kSmallSegment);
      notes.disk.content(damaged)[byte] ^= std::byte{0x10};
      const Contents contents = read_all(notes.disk);
      EXPECT_EQ(contents.entries.size(), 20U) << damaged << " byte " << byte;
      ASSERT_EQ(contents.damage.size(), 1U) << damaged << " byte " << byte;
      EXPECT_EQ(contents.damage[0].offset, 0U);
      EXPECT_EQ(contents.damage[0].length, 64U);
      EXPECT_TRUE(LedgerReader::open(notes.disk, kLedger)->find(5).has_value());
    }
  }
}

TEST(LedgerCorruption, AWriterGoesOnInANewSegmentBehindADamagedHeader) {
  Notes notes(3);
  notes.bytes()[60] ^= std::byte{1};
  const Bytes before = notes.bytes();
  auto writer = open_writer(notes.disk);
  ASSERT_NE(writer, nullptr);
  EXPECT_EQ(writer->recovery().damaged.size(), 1U);
  const auto receipt = writer->append(note("four"));
  ASSERT_TRUE(receipt.has_value()) << receipt.error().detail;
  EXPECT_EQ(receipt->number, 4U);
  EXPECT_EQ(receipt->place.segment, 2U);
  EXPECT_EQ(notes.bytes(), before) << "the damaged segment stays as it is";
  EXPECT_EQ(numbers_of(read_all(notes.disk)), (Numbers{1, 2, 3, 4}));
}

TEST(LedgerCorruption, ADamagedHeaderWithNothingBehindItIsRefusedByTheWriter) {
  Notes notes(0);
  notes.bytes()[40] ^= std::byte{1};
  const auto writer = LedgerWriter::open(notes.disk, kLedger, {});
  ASSERT_FALSE(writer.has_value());
  EXPECT_EQ(writer.error().code, ErrorCode::kCorruptFile);
}

TEST(LedgerCorruption, AForeignSegmentIsNotReadAndNotWritten) {
  Notes notes(20, kSmallSegment);
  Notes other(20, kSmallSegment);
  notes.disk.content("/ledger/000002.ledger") = other.disk.content("/ledger/000002.ledger");
  const Contents contents = read_all(notes.disk);
  for (const Entry& entry : contents.entries) EXPECT_NE(entry.place.segment, 2U);
  ASSERT_FALSE(contents.damage.empty());
  EXPECT_EQ(contents.damage[0].segment, 2U);
  EXPECT_EQ(contents.damage[0].length, notes.disk.content("/ledger/000002.ledger").size());
  Notes newest(1);
  newest.disk.put("/ledger/000002.ledger", other.disk.content("/ledger/000002.ledger"));
  EXPECT_EQ(LedgerWriter::open(newest.disk, kLedger, {}).error().code, ErrorCode::kCorruptFile);
}

TEST(LedgerCorruption, AForeignFileIsRefusedByName) {
  SimulatedDisk disk;
  Bytes text(200, std::byte{'x'});
  disk.put("/files/picture.ledger", text);
  disk.put("/ledger/000001.ledger", Bytes(10, std::byte{'x'}));
  const auto alone = LedgerReader::open(disk, "/files/picture.ledger");
  ASSERT_FALSE(alone.has_value());
  EXPECT_EQ(alone.error().code, ErrorCode::kCorruptFile);
  EXPECT_NE(alone.error().detail.find("picture.ledger is not a ledger segment"), std::string::npos)
      << alone.error().detail;
  EXPECT_EQ(LedgerReader::open(disk, kLedger).error().code, ErrorCode::kCorruptFile)
      << "shorter than a header";
  EXPECT_EQ(LedgerWriter::open(disk, kLedger, {}).error().code, ErrorCode::kCorruptFile);
  EXPECT_EQ(disk.content(kSegment1).size(), 10U) << "nothing was overwritten";
}

void fix_header_crc(Bytes& bytes) {
  const std::uint32_t crc = crc32c(std::span(bytes).first(60));
  for (std::size_t i = 0; i < 4; ++i) bytes[60 + i] = static_cast<std::byte>((crc >> (8 * i)) & 0xFFU);
}

TEST(LedgerCorruption, ANewerVersionIsRefusedByReaderAndWriter) {
  for (const bool in_magic : {true, false}) {
    Notes notes(1);
    if (in_magic)
      notes.bytes()[5] = std::byte{'2'};
    else
      notes.bytes()[8] = std::byte{2};
    fix_header_crc(notes.bytes());
    const Bytes before = notes.bytes();
    const auto reader = LedgerReader::open(notes.disk, kLedger);
    ASSERT_FALSE(reader.has_value());
    EXPECT_EQ(reader.error().code, ErrorCode::kNotSupported);
    EXPECT_NE(reader.error().detail.find("version 2"), std::string::npos) << reader.error().detail;
    EXPECT_EQ(LedgerWriter::open(notes.disk, kLedger, {}).error().code, ErrorCode::kNotSupported);
    EXPECT_EQ(notes.bytes(), before);
  }
}

TEST(LedgerCorruption, AHeaderThatNoVersionWritesIsDamaged) {
  for (const std::size_t byte : {8U, 16U, 50U}) {
    Notes notes(1);
    notes.bytes()[byte] = byte == 50U ? std::byte{1} : std::byte{0};
    fix_header_crc(notes.bytes());
    EXPECT_EQ(LedgerReader::open(notes.disk, kSegment1).error().code, ErrorCode::kCorruptFile);
  }
}

TEST(LedgerCorruption, TheWriterSavesATornTailBeforeItCutsIt) {
  Notes notes(3);
  notes.cut_to(notes.bytes().size() - 3);
  const Bytes tail(notes.bytes().begin() + static_cast<std::ptrdiff_t>(notes.offset(2)), notes.bytes().end());
  auto writer = open_writer(notes.disk);
  EXPECT_EQ(writer->recovery().torn_bytes, tail.size());
  EXPECT_EQ(writer->recovery().last_number, 2U);
  EXPECT_EQ(writer->recovery().torn_saved_as, "000001.ledger.cut-" + std::to_string(notes.offset(2)) + "-1");
  EXPECT_EQ(notes.disk.content("/ledger/" + writer->recovery().torn_saved_as), tail);
  EXPECT_EQ(writer->append(note("again"))->number, 3U);
  EXPECT_EQ(numbers_of(read_all(notes.disk)), (Numbers{1, 2, 3}));
  writer.reset();
  notes.cut_to(notes.bytes().size() - 3);
  EXPECT_TRUE(open_writer(notes.disk)->recovery().torn_saved_as.ends_with("-2")) << "the first one is kept";
}

TEST(LedgerCorruption, TheWriterReportsDamageInTheMiddleAndCutsNothing) {
  Notes notes(4);
  notes.bytes()[notes.offset(1) + 30] ^= std::byte{1};
  const Bytes before = notes.bytes();
  auto writer = open_writer(notes.disk);
  EXPECT_EQ(notes.bytes(), before);
  ASSERT_EQ(writer->recovery().damaged.size(), 1U);
  EXPECT_EQ(writer->recovery().damaged[0].first_lost, 2U);
  EXPECT_EQ(writer->recovery().torn_bytes, 0U);
  EXPECT_EQ(writer->append(note("five"))->number, 5U);
}

// Shortening one segment to every length: exactly the records that are complete are read, and the writer goes
// on behind them.
TEST(LedgerCorruption, EveryLengthGivesExactlyTheCompleteRecords) {
  Notes whole(5);
  const Bytes all = whole.bytes();
  for (std::size_t size = 0; size <= all.size(); ++size) {
    Notes notes(0);
    notes.bytes().assign(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(size));
    if (size < kSegmentHeaderBytes) {
      ASSERT_EQ(LedgerReader::open(notes.disk, kLedger).error().code, ErrorCode::kCorruptFile) << size;
      ASSERT_EQ(LedgerWriter::open(notes.disk, kLedger, {}).error().code, ErrorCode::kCorruptFile) << size;
      ASSERT_EQ(notes.bytes().size(), size);
      continue;
    }
    std::size_t complete = 0;
    std::size_t end = kSegmentHeaderBytes;
    for (std::size_t i = 0; i < 5; ++i) {
      const std::size_t next = i + 1 < 5 ? whole.offset(i + 1) : all.size();
      if (next <= size) {
        complete = i + 1;
        end = next;
      }
    }
    Contents contents = read_all(notes.disk);
    ASSERT_EQ(contents.entries.size(), complete) << size;
    ASSERT_EQ(contents.unfinished_bytes, size - end) << size;
    ASSERT_TRUE(contents.damage.empty()) << size;
    auto writer = open_writer(notes.disk);
    ASSERT_EQ(writer->recovery().torn_bytes, size - end) << size;
    ASSERT_EQ(writer->append(note("next"))->number, complete + 1) << size;
    contents = read_all(notes.disk);
    ASSERT_EQ(contents.entries.size(), complete + 1) << size;
    ASSERT_TRUE(contents.damage.empty() && contents.unfinished_bytes == 0) << size;
  }
}

// Every single bit of a ledger of several segments: something is reported, and no record is ever wrong.
TEST(LedgerCorruption, EveryFlippedBitIsNoticed) {
  Notes notes(7, 300);
  const std::vector<Entry> good = read_all(notes.disk).entries;
  std::uint64_t flips = 0;
  for (const std::string& path : notes.disk.paths()) {
    Bytes& bytes = notes.disk.content(path);
    for (std::size_t bit = 0; bit < 8 * bytes.size(); ++bit, ++flips) {
      const std::byte mask = std::byte{1} << static_cast<int>(bit % 8);
      bytes[bit / 8] ^= mask;
      const Contents contents = read_all(notes.disk);
      ASSERT_TRUE(!contents.damage.empty() || contents.unfinished_bytes > 0) << path << " bit " << bit;
      ASSERT_GE(contents.entries.size() + 1, good.size())
          << path << " bit " << bit << ": one flip costs one record";
      for (const Entry& entry : contents.entries) {
        ASSERT_EQ(entry.digest, good[entry.number - 1].digest) << path << " bit " << bit;
      }
      bytes[bit / 8] ^= mask;
    }
  }
  EXPECT_GT(flips, 4000U);
}

}  // namespace
}  // namespace crestgate::protocol
