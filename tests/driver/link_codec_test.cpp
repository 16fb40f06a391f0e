// SPDX-License-Identifier: Apache-2.0
// Expected bytes: protocol/link/vectors.txt, written by protocol/link/make_vectors.py (another language,
// another author) from the page.

#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "driver/gauge/link/codec.h"
#include "driver/gauge/link/coverage.h"
#include "driver/gauge/link/framer.h"
#include "support/link_peer.h"

namespace crestgate::driver::link {
namespace {

Bytes from_hex(const std::string& text) {
  Bytes bytes;
  if (text == "-") return bytes;
  for (std::size_t i = 0; i + 1 < text.size(); i += 2) {
    bytes.push_back(static_cast<std::uint8_t>(std::stoul(text.substr(i, 2), nullptr, 16)));
  }
  return bytes;
}

struct Line {
  std::string kind, name, third;
  Bytes wire;
};

std::vector<Line> vectors() {
  std::ifstream in(std::string(CRESTGATE_SOURCE_DIR) + "/protocol/link/vectors.txt");
  std::vector<Line> lines;
  std::string text;
  while (std::getline(in, text)) {
    if (text.empty() || text[0] == '#') continue;
    std::istringstream words(text);
    Line line;
    std::string wire;
    words >> line.kind >> line.name >> line.third >> wire;
    line.wire = from_hex(wire);
    lines.push_back(line);
  }
  return lines;
}

std::vector<Message> feed(Framer& framer, const Bytes& bytes) {
  std::vector<Message> messages;
  framer.feed(std::as_bytes(std::span(bytes)), messages);
  return messages;
}

const Bytes kZero{0};

const std::map<std::string, Message>& expected_messages() {
  static const std::map<std::string, Message> messages = [] {
    Chunk full{7, 150, {}};
    for (std::int32_t i = -75; i < 75; ++i) full.heights.push_back(i);
    return std::map<std::string, Message>{
        {"hello", {1, Hello{0}}},
        {"ask_state", {2, AskState{}}},
        {"ask_still", {3, AskStill{200}}},
        {"traverse", {4, StartTraverse{7, 5600, 500, 500}}},
        {"resend", {5, Resend{7, 150, 300}}},
        {"abort", {6, Abort{}}},
        {"retract", {65535, Retract{}}},
        {"host_pulse", {0, HostPulse{}}},
        {"identity",
         {1, Identity{0, 0x1122334455667788ULL, 1, 2000, 1000000, 100, 20000, "Bench gauge", "SN-0042",
                      "1.0.3"}}},
        {"state", {2, State{0, 1, 0, -12345, 1000, 86400}}},
        {"still", {3, Still{17, 1000, 4200, 400}}},
        {"started", {4, Started{7, 7, 500, 1000, 500}}},
        {"chunk", {4, Chunk{7, 0, {0, 1, -1, 1000, -1000, 2147483647, INT32_MIN}}}},
        {"chunk_full", {4, full}},
        {"done", {6, Done{1}}},
        {"refused", {4, Refused{4, 2, "length 900000 um is beyond 20000 um"}}},
        {"gauge_pulse", {0, GaugePulse{0x1122334455667788ULL, 1, 0}}},
        {"identity_longer_body", {1, Identity{3, 1, 2, 5000, 0, 250, 50000, "M", "S", "F"}}},
    };
  }();
  return messages;
}

TEST(LinkCodec, DecodesEveryGoodVector) {
  int seen = 0;
  for (const Line& line : vectors()) {
    if (line.kind != "good") continue;
    ++seen;
    Framer framer;
    feed(framer, kZero);
    const auto messages = feed(framer, line.wire);
    ASSERT_EQ(messages.size(), 1U) << line.name;
    EXPECT_EQ(framer.counters(), FrameCounters{.good = 1}) << line.name;
    if (line.name == "finished") {
      const auto& finished = std::get<Finished>(messages[0].body);
      EXPECT_EQ(finished.samples, 7U);
      EXPECT_EQ(finished.quality, 5U);
      EXPECT_EQ(finished.check, 0x14A2895BU);  // bytes 5b 89 a2 14 of the vector
      EXPECT_EQ(finished.duration_ms, 11200U);
      continue;
    }
    ASSERT_TRUE(expected_messages().contains(line.name)) << line.name;
    EXPECT_EQ(messages[0], expected_messages().at(line.name)) << line.name;
  }
  EXPECT_EQ(seen, 19);
}

TEST(LinkCodec, EncodesEveryGoodVectorToTheSameBytes) {
  for (const Line& line : vectors()) {
    if (line.kind != "good" || line.name == "identity_longer_body") continue;
    Framer framer;
    feed(framer, kZero);
    const auto messages = feed(framer, line.wire);
    ASSERT_EQ(messages.size(), 1U) << line.name;
    EXPECT_EQ(encode_content(messages[0]), from_hex(line.third)) << line.name;
    EXPECT_EQ(encode_frame(messages[0]), line.wire) << line.name;
  }
}

TEST(LinkCodec, StuffsEveryCornerAsThePageSays) {
  int seen = 0;
  for (const Line& line : vectors()) {
    if (line.kind != "cobs") continue;
    ++seen;
    const Bytes content = from_hex(line.third);
    Bytes wire = cobs_encode(content);
    Bytes back;
    EXPECT_TRUE(cobs_decode(wire, back)) << line.name;
    EXPECT_EQ(back, content) << line.name;
    wire.push_back(0);
    EXPECT_EQ(wire, line.wire) << line.name;
  }
  EXPECT_EQ(seen, 13);
}

TEST(LinkCodec, EveryBrokenVectorMovesItsOwnCounterAndNoOther) {
  int seen = 0;
  for (const Line& line : vectors()) {
    if (line.kind != "broken") continue;
    ++seen;
    Framer framer;
    feed(framer, kZero);
    EXPECT_TRUE(feed(framer, line.wire).empty()) << line.name;
    FrameCounters expected;
    if (line.third == "damaged") expected.damaged = 1;
    if (line.third == "overlong") expected.overlong = 1;
    if (line.third == "malformed") expected.malformed = 1;
    if (line.third == "unknown_type") expected.unknown_type = 1;
    if (line.third == "other_version") expected.other_version = 1;
    EXPECT_EQ(framer.counters(), expected) << line.name;
    // In step again: the next whole frame is heard.
    EXPECT_EQ(feed(framer, encode_frame({9, Hello{0}})).size(), 1U) << line.name;
  }
  EXPECT_EQ(seen, 19);
}

TEST(LinkCodec, BytesOneByOneGiveTheSameAsAllAtOnce) {
  Bytes all = kZero;
  for (const Line& line : vectors()) all.insert(all.end(), line.wire.begin(), line.wire.end());
  Framer at_once;
  const auto expected = feed(at_once, all);
  Framer by_byte;
  std::vector<Message> messages;
  for (const std::uint8_t byte : all) by_byte.feed(std::as_bytes(std::span(&byte, 1)), messages);
  EXPECT_EQ(messages, expected);
  EXPECT_EQ(by_byte.counters(), at_once.counters());
  for (std::size_t split = 0; split < all.size(); split += 37) {
    Framer in_two;
    std::vector<Message> both;
    in_two.feed(std::as_bytes(std::span(all).first(split)), both);
    in_two.feed(std::as_bytes(std::span(all).subspan(split)), both);
    EXPECT_EQ(both, expected) << "split at " << split;
  }
}

TEST(LinkCodec, NothingBeforeTheFirstZeroIsTakenOrCounted) {
  Framer framer;
  Bytes bytes(2000, 0x41);
  const Bytes frame = encode_frame({9, Hello{0}});
  bytes.insert(bytes.end(), frame.begin(), frame.end());
  EXPECT_TRUE(feed(framer, bytes).empty());
  EXPECT_EQ(framer.counters(), FrameCounters{});
  EXPECT_EQ(feed(framer, frame).size(), 1U);
}

TEST(LinkCodec, EverySingleFlippedBitOfAFrameIsNoticed) {
  for (const Line& line : vectors()) {
    if (line.kind != "good") continue;
    const Message whole = [&] {
      Framer framer;
      feed(framer, kZero);
      return feed(framer, line.wire).at(0);
    }();
    for (std::size_t i = 0; i + 1 < line.wire.size(); ++i) {
      for (unsigned bit = 0; bit < 8; ++bit) {
        Bytes damaged = line.wire;
        damaged[i] = static_cast<std::uint8_t>(damaged[i] ^ (1U << bit));
        Framer framer;
        feed(framer, kZero);
        ASSERT_TRUE(feed(framer, damaged).empty()) << line.name << " byte " << i << " bit " << bit;
        ASSERT_GE(framer.counters().damaged, 1U) << line.name << " byte " << i << " bit " << bit;
        ASSERT_EQ(feed(framer, line.wire).at(0), whole);
      }
    }
  }
}

TEST(LinkCodec, EveryProperPrefixOfAFrameIsDroppedAndCounted) {
  for (const Line& line : vectors()) {
    if (line.kind != "good") continue;
    for (std::size_t size = 1; size + 1 < line.wire.size(); ++size) {
      Framer framer;
      feed(framer, kZero);
      Bytes cut(line.wire.begin(), line.wire.begin() + static_cast<std::ptrdiff_t>(size));
      cut.push_back(0);
      ASSERT_TRUE(feed(framer, cut).empty()) << line.name << " " << size;
      ASSERT_EQ(framer.counters().damaged, 1U) << line.name << " " << size;
    }
  }
}

// Published check values: "123456789" (page), 32 bytes of 00 and of FF (RFC 3720 section B.4).
TEST(LinkCodec, CheckIsCastagnoli) {
  const std::string digits = "123456789";
  const Bytes text(digits.begin(), digits.end());
  EXPECT_EQ(crc32c(text), 0xE3069283U);
  EXPECT_EQ(crc32c(Bytes(32, 0x00)), 0x8A9136AAU);
  EXPECT_EQ(crc32c(Bytes(32, 0xFF)), 0x62A8AB43U);
  EXPECT_EQ(crc32c({}), 0U);
  EXPECT_EQ(crc32c(std::span(text).subspan(4), crc32c(std::span(text).first(4))), 0xE3069283U);
}

TEST(LinkCodec, CobsRoundTripsEveryLengthUpToThreePieces) {
  for (std::size_t size = 0; size <= 770; ++size) {
    Bytes content(size);
    for (std::size_t i = 0; i < size; ++i) content[i] = static_cast<std::uint8_t>((i * 7 + size) % 256);
    const Bytes wire = cobs_encode(content);
    EXPECT_EQ(std::count(wire.begin(), wire.end(), 0), 0);
    EXPECT_LE(wire.size(), size + size / 254 + 1);
    Bytes back;
    ASSERT_TRUE(cobs_decode(wire, back));
    ASSERT_EQ(back, content) << size;
  }
}

TEST(LinkCodec, CobsWithAZeroInsideIsRefused) {
  Bytes content;
  EXPECT_FALSE(cobs_decode(Bytes{0x03, 0x11, 0x00}, content));
  EXPECT_FALSE(cobs_decode(Bytes{0x00}, content));
  EXPECT_FALSE(cobs_decode(Bytes{}, content));
}

TEST(LinkCodec, TextsNeverCarryControlCharacters) {
  const Bytes wire = tests::link_frame(0x88, 4, {0x04, 0x02, 0x00, 0x03, 'a', 0x1B, 0x80});
  Framer framer;
  feed(framer, kZero);
  const auto messages = feed(framer, wire);
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_EQ(std::get<Refused>(messages[0].body).text, "a??");
}

TEST(LinkCoverage, PlacesChunksInAnyOrderAndNamesTheGaps) {
  Coverage coverage(10);
  EXPECT_EQ(coverage.gaps(), (std::vector<Gap>{{0, 10}}));
  EXPECT_EQ(coverage.place(6, std::vector<std::int32_t>{6, 7}), Placed::kNew);
  EXPECT_EQ(coverage.place(1, std::vector<std::int32_t>{1, 2}), Placed::kNew);
  EXPECT_EQ(coverage.gaps(), (std::vector<Gap>{{0, 1}, {3, 3}, {8, 2}}));
  EXPECT_EQ(coverage.place(1, std::vector<std::int32_t>{1, 2}), Placed::kKnown);
  EXPECT_EQ(coverage.place(2, std::vector<std::int32_t>{2, 3, 4, 5}), Placed::kNew);
  EXPECT_EQ(coverage.missing(), 3U);
}

TEST(LinkCoverage, TakesNothingFromAChunkThatContradictsOrReachesOut) {
  Coverage coverage(4);
  EXPECT_EQ(coverage.place(1, std::vector<std::int32_t>{1, 2}), Placed::kNew);
  EXPECT_EQ(coverage.place(0, std::vector<std::int32_t>{0, 1, 9}), Placed::kContradicts);
  EXPECT_EQ(coverage.missing(), 2U);
  EXPECT_EQ(coverage.place(3, std::vector<std::int32_t>{3, 4}), Placed::kOutside);
  EXPECT_EQ(coverage.place(4, std::vector<std::int32_t>{4}), Placed::kOutside);
  EXPECT_EQ(coverage.place(UINT32_MAX, std::vector<std::int32_t>{4}), Placed::kOutside);
  EXPECT_EQ(coverage.missing(), 2U);
}

// The vector "finished" carries the check over the seven heights of the vector "chunk".
TEST(LinkCoverage, CheckIsThatOfTheVectors) {
  Coverage coverage(7);
  const std::vector<std::int32_t> heights{0, 1, -1, 1000, -1000, 2147483647, INT32_MIN};
  EXPECT_EQ(coverage.place(0, heights), Placed::kNew);
  EXPECT_EQ(coverage.check(), 0x14A2895BU);
  EXPECT_EQ(coverage.take(), heights);
}

TEST(LinkCoverage, CheckOfALongTraceEqualsTheBitByBitOne) {
  Coverage coverage(1000);
  tests::Wire wire;
  for (std::uint32_t i = 0; i < 1000; ++i) {
    const auto height = static_cast<std::int32_t>(i * 2654435761U);
    const std::vector<std::int32_t> one{height};
    EXPECT_EQ(coverage.place(i, one), Placed::kNew);
    tests::put_le(wire, static_cast<std::uint32_t>(height), 4);
  }
  EXPECT_EQ(coverage.check(), tests::crc32c_bit_by_bit(wire));
}

}  // namespace
}  // namespace crestgate::driver::link
