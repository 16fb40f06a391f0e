// SPDX-License-Identifier: Apache-2.0
// Every line of protocol/link/vectors.txt, which make_vectors.py wrote from the page alone.

#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "simulator/link/cobs.h"
#include "simulator/link/frame.h"
#include "simulator/link/messages.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {
namespace {

struct Vector {
  std::string kind;
  std::string name;
  std::string second;  // content, or the counter of a broken one
  Bytes wire;
};

Bytes bytes_of(const std::string& hex) {
  Bytes bytes;
  if (hex == "-") return bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<std::uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
  }
  return bytes;
}

std::vector<Vector> vectors(const std::string& kind) {
  std::ifstream file(CRESTGATE_SOURCE_DIR "/protocol/link/vectors.txt");
  std::vector<Vector> found;
  for (std::string line; std::getline(file, line);) {
    std::istringstream words(line);
    Vector vector;
    std::string wire;
    words >> vector.kind >> vector.name >> vector.second >> wire;
    if (vector.kind != kind) continue;  // and the comments
    vector.wire = bytes_of(wire);
    found.push_back(vector);
  }
  return found;
}

// In step: the fragment before the first zero is dropped.
Deframer opened_deframer() {
  Deframer deframer;
  std::vector<Frame> none;
  deframer.feed(Bytes{0}, none);
  return deframer;
}
Receiver opened_receiver() {
  Receiver receiver;
  receiver.feed(Bytes{0});
  return receiver;
}

// The body of the vector "identity_longer_body" is longer than the page says, so it cannot come out the same.
bool has_longer_body(const Vector& vector) { return vector.name == "identity_longer_body"; }

TEST(LinkVectors, AreAllThere) {
  EXPECT_EQ(vectors("good").size(), 19U);
  EXPECT_EQ(vectors("cobs").size(), 13U);
  EXPECT_EQ(vectors("broken").size(), 19U);
}

TEST(LinkVectors, GoodWiresGiveTheirContentAndTheContentGivesTheWire) {
  for (const Vector& vector : vectors("good")) {
    SCOPED_TRACE(vector.name);
    Deframer deframer = opened_deframer();
    std::vector<Frame> frames;
    deframer.feed(vector.wire, frames);
    ASSERT_EQ(frames.size(), 1U);
    EXPECT_EQ(content_of(frames[0]), bytes_of(vector.second));
    EXPECT_EQ(wire_of(frames[0]), vector.wire);
    EXPECT_EQ(deframer.counters(), ReceiveCounters{});
  }
}

TEST(LinkVectors, GoodWiresGiveMessagesThatGiveTheSameWire) {
  for (const Vector& vector : vectors("good")) {
    SCOPED_TRACE(vector.name);
    Receiver receiver = opened_receiver();
    const std::vector<Received> received = receiver.feed(vector.wire);
    ASSERT_EQ(received.size(), 1U);
    const Bytes again = wire_of(frame_of(received[0].sequence, received[0].message));
    if (has_longer_body(vector)) {
      EXPECT_LT(again.size(), vector.wire.size());
    } else {
      EXPECT_EQ(again, vector.wire);
    }
  }
}

// The values that make_vectors.py packed, one message of each shape.
TEST(LinkVectors, HoldTheValuesTheyWereMadeOf) {
  std::vector<Received> all;
  Receiver receiver = opened_receiver();
  for (const Vector& vector : vectors("good")) {
    for (Received& received : receiver.feed(vector.wire)) all.push_back(std::move(received));
  }
  ASSERT_EQ(all.size(), 19U);
  EXPECT_EQ(std::get<StartTraverse>(all[3].message),
            (StartTraverse{.traverse_id = 7, .length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500}));
  EXPECT_EQ(std::get<Resend>(all[4].message), (Resend{.traverse_id = 7, .first_sample = 150, .count = 300}));
  EXPECT_EQ(all[6].sequence, 65535);
  const Identity identity{.minor_version = 0,
                          .boot_id = 0x1122334455667788,
                          .pickup = 1,
                          .tip_radius_nm = 2000,
                          .range_nm = 1'000'000,
                          .smallest_spacing_nm = 100,
                          .longest_traverse_um = 20'000,
                          .model = "Bench gauge",
                          .serial_number = "SN-0042",
                          .firmware = "1.0.3"};
  EXPECT_EQ(std::get<Identity>(all[8].message), identity);
  EXPECT_EQ(std::get<StateReport>(all[9].message).height_count, -12345);
  EXPECT_EQ(std::get<StillReport>(all[10].message).scatter_pm, 4200U);
  const Chunk chunk = std::get<Chunk>(all[12].message);
  EXPECT_EQ(chunk.height_counts,
            (std::vector<std::int32_t>{0, 1, -1, 1000, -1000, kEndStopCount, kNoSampleCount}));
  EXPECT_EQ(check_of(wire_heights(chunk.height_counts)), std::get<Finished>(all[14].message).check);
  EXPECT_EQ(std::get<Refused>(all[16].message).text, "length 900000 um is beyond 20000 um");
}

TEST(LinkVectors, CobsCornersHoldInBothDirections) {
  for (const Vector& vector : vectors("cobs")) {
    SCOPED_TRACE(vector.name);
    const Bytes content = bytes_of(vector.second);
    Bytes wire = stuff(content);
    EXPECT_EQ(unstuff(wire), content);
    wire.push_back(0);
    EXPECT_EQ(wire, vector.wire);
  }
}

TEST(LinkVectors, BrokenWiresMoveTheirCounterAndNothingElse) {
  for (const Vector& vector : vectors("broken")) {
    SCOPED_TRACE(vector.name);
    ReceiveCounters wanted;
    if (vector.second == "damaged") wanted.damaged = 1;
    if (vector.second == "overlong") wanted.overlong = 1;
    if (vector.second == "other_version") wanted.other_version = 1;
    if (vector.second == "unknown_type") wanted.unknown_type = 1;
    if (vector.second == "malformed") wanted.malformed = 1;
    ASSERT_TRUE(vector.second == "nothing" || !(wanted == ReceiveCounters{}));
    Receiver receiver = opened_receiver();
    EXPECT_TRUE(receiver.feed(vector.wire).empty());
    EXPECT_EQ(receiver.counters(), wanted);
    // In step again at once.
    EXPECT_EQ(receiver.feed(wire_of(frame_of(1, Hello{}))).size(), 1U);
  }
}

TEST(LinkVectors, FedByteByByteTheyGiveTheSameAsAllAtOnce) {
  Bytes all;
  for (const char* kind : {"good", "broken", "good"}) {
    for (const Vector& vector : vectors(kind)) all.insert(all.end(), vector.wire.begin(), vector.wire.end());
  }
  Receiver at_once = opened_receiver();
  Receiver bytewise = opened_receiver();
  const std::vector<Received> whole = at_once.feed(all);
  std::vector<Received> parts;
  for (const std::uint8_t byte : all) {
    for (Received& received : bytewise.feed(ByteView(&byte, 1))) parts.push_back(std::move(received));
  }
  ASSERT_EQ(parts.size(), whole.size());
  EXPECT_EQ(whole.size(), 2U * vectors("good").size());
  for (std::size_t i = 0; i < whole.size(); ++i) {
    EXPECT_EQ(parts[i].sequence, whole[i].sequence);
    EXPECT_EQ(parts[i].message, whole[i].message);
  }
  EXPECT_EQ(bytewise.counters(), at_once.counters());
}

// CRC-32C finds every single wrong bit of its frame; a bit of a COBS code byte or of the end moves whole
// pieces, which the length field and the check find together.
TEST(LinkVectors, EverySingleBitFlipIsNoticed) {
  for (const Vector& vector : vectors("good")) {
    SCOPED_TRACE(vector.name);
    for (std::size_t bit = 0; bit < 8 * vector.wire.size(); ++bit) {
      Bytes damaged = vector.wire;
      damaged[bit / 8] = static_cast<std::uint8_t>(damaged[bit / 8] ^ (1U << (bit % 8)));
      Deframer deframer = opened_deframer();
      std::vector<Frame> frames;
      deframer.feed(damaged, frames);
      EXPECT_TRUE(frames.empty()) << "bit " << bit;
    }
  }
}

TEST(LinkFraming, EveryLengthOfBodySurvivesTheLine) {
  RandomStream random(7);
  Deframer deframer = opened_deframer();
  for (std::size_t length = 0; length <= kLongestBody; ++length) {
    Frame frame{.type = 0x6F, .sequence = static_cast<std::uint16_t>(length), .body = Bytes(length)};
    for (std::uint8_t& byte : frame.body) byte = static_cast<std::uint8_t>(random.bits() % 3);  // many zeros
    std::vector<Frame> frames;
    deframer.feed(wire_of(frame), frames);
    ASSERT_EQ(frames, std::vector<Frame>{frame}) << length;
  }
}

TEST(LinkFraming, TheFragmentBeforeTheFirstZeroIsNotCounted) {
  Deframer deframer;
  std::vector<Frame> frames;
  deframer.feed(Bytes{9, 8, 7, 0}, frames);
  EXPECT_EQ(deframer.counters(), ReceiveCounters{});
  deframer.feed(Bytes{9, 8, 7, 0}, frames);
  EXPECT_EQ(deframer.counters().damaged, 1U);
}

TEST(LinkFraming, AnyBytesAreSafe) {
  RandomStream random(11);
  Receiver receiver = opened_receiver();
  for (int i = 0; i < 200'000; ++i) {
    const auto byte = static_cast<std::uint8_t>(random.bits() % 40 == 0 ? 0 : random.bits());
    EXPECT_TRUE(receiver.feed(ByteView(&byte, 1)).empty());  // 2^-32 each: not with this seed
  }
  EXPECT_GT(receiver.counters().damaged, 1000U);
}

// Check values of the CRC catalogues: RFC 3720 B.4 (32 x 00h, 32 x FFh) and "123456789".
TEST(LinkFraming, TheCheckIsCrc32c) {
  const std::string digits = "123456789";
  EXPECT_EQ(check_of(Bytes(digits.begin(), digits.end())), 0xE3069283U);
  EXPECT_EQ(check_of(Bytes(32, 0x00)), 0x8A9136AAU);
  EXPECT_EQ(check_of(Bytes(32, 0xFF)), 0x62A8AB43U);
}

}  // namespace
}  // namespace crestgate::simulator
