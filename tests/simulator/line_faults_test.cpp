// SPDX-License-Identifier: Apache-2.0
// Damage of single frames, a slow line, a gauge that hangs or resets in the middle of a frame, and one that
// repeats old data: what the host hears.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "hand_driven_host.h"

namespace crestgate::simulator {
namespace {

using ::testing::ElementsAre;
using ::testing::SizeIs;

// 1000 samples, a millisecond each; chunks end at 150, 300, 400 (there the fault is), 550, 700, 850, 1000.
constexpr StartTraverse kOneSecond{
    .traverse_id = 7, .length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500};
constexpr std::int64_t kWholeMs = 1300;

class LineInTrouble : public ::testing::Test {
 protected:
  void traverse_with(const Upset& upset) {
    world.upsets = {upset};
    host.say(9, kOneSecond);
  }
  void traverse_with(Upset::Kind kind) { traverse_with({.kind = kind, .after_samples = 400}); }
  std::vector<std::uint32_t> first_samples() const {
    std::vector<std::uint32_t> firsts;
    for (const auto& [number, chunk] : host.heard<Chunk>()) firsts.push_back(chunk.first_sample);
    return firsts;
  }
  std::size_t samples_heard() const {
    std::size_t samples = 0;
    for (const auto& [number, chunk] : host.heard<Chunk>()) samples += chunk.height_counts.size();
    return samples;
  }

  KnownWorld world;
  Gauge gauge{GaugeTraits{}, world, base::MonotonicInstant{}};
  Line line{gauge, world, LineOptions{.baud = std::nullopt, .seed = 3}};
  HandDrivenHost host = host_of(line);
};

TEST_F(LineInTrouble, OneFlippedBitOrLostByteCostsOneChunk) {
  for (const Upset::Kind kind : {Upset::Kind::kFlipBit, Upset::Kind::kDropByte}) {
    host.clear();
    const std::uint64_t damaged_before = host.receiver().counters().damaged;
    traverse_with(kind);
    host.wait_ms(kWholeMs);
    EXPECT_THAT(first_samples(), ElementsAre(0, 150, 400, 550, 700, 850));
    EXPECT_EQ(host.receiver().counters().damaged, damaged_before + 1);
    EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
    host.say(10, Retract{});
    host.wait_ms(300);
  }
}

TEST_F(LineInTrouble, ADuplicateFrameIsTheSameFrameAgain) {
  traverse_with(Upset::Kind::kDuplicateFrame);
  host.wait_ms(kWholeMs);
  EXPECT_THAT(first_samples(), ElementsAre(0, 150, 300, 300, 400, 550, 700, 850));
  EXPECT_EQ(host.heard<Chunk>()[2], host.heard<Chunk>()[3]);
  EXPECT_EQ(host.receiver().counters(), ReceiveCounters{});
}

TEST_F(LineInTrouble, SwappedFramesExchangeTheirPlaces) {
  traverse_with(Upset::Kind::kSwapFrames);
  host.wait_ms(kWholeMs);
  EXPECT_THAT(first_samples(), ElementsAre(0, 150, 400, 300, 550, 700, 850));
  EXPECT_EQ(host.receiver().counters(), ReceiveCounters{});
}

TEST_F(LineInTrouble, TheLastChunkSwappedComesAfterFinished) {
  traverse_with({.kind = Upset::Kind::kSwapFrames, .after_samples = 1000});
  host.wait_ms(1250);
  EXPECT_THAT(first_samples(), ElementsAre(0, 150, 300, 450, 600, 750, 900));
  ASSERT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(host.heard<Finished>()[0].second.samples, 1000U);
}

// The page: a frame cut short is a lost frame; without its zero it runs into the next one, which is lost too.
// The next frame here is a chunk.
TEST_F(LineInTrouble, ATruncatedFrameTakesTheNextOneWithIt) {
  traverse_with(Upset::Kind::kTruncateFrame);
  host.wait_ms(kWholeMs);
  EXPECT_THAT(first_samples(), ElementsAre(0, 150, 550, 700, 850));
  EXPECT_EQ(host.receiver().counters().damaged + host.receiver().counters().overlong, 1U);
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
  host.say(10, Resend{.traverse_id = 7, .first_sample = 300, .count = 250});
  EXPECT_EQ(samples_heard(), 1000U);
}

TEST_F(LineInTrouble, FramesAreDuplicatedAsOftenAsAsked) {
  world.faults.frames = {.duplicate_probability = 1.0};
  host.say(9, kOneSecond);
  host.wait_ms(kWholeMs);
  EXPECT_THAT(host.heard<Started>(), SizeIs(2));
  EXPECT_THAT(first_samples(), SizeIs(14));
  EXPECT_THAT(host.heard<Finished>(), SizeIs(2));
  EXPECT_EQ(host.receiver().counters(), ReceiveCounters{});
}

// n frames with probability p: mean n p, standard deviation sqrt(n p (1 - p)); five of them allowed.
TEST(FrameFault, DuplicatesAndTruncatesByChance) {
  FrameFault fault(3);
  const Bytes frame(20, 0x11);
  std::size_t twice = 0, halves = 0;
  constexpr std::size_t kFrames = 10'000;
  for (std::size_t i = 0; i < kFrames; ++i) {
    twice += fault.pass(frame, Chunk::kType, {.duplicate_probability = 0.1}).size() == 40 ? 1U : 0U;
    halves += fault.pass(frame, Chunk::kType, {.truncate_probability = 0.1}).size() == 10 ? 1U : 0U;
  }
  const double sd = std::sqrt(kFrames * 0.1 * 0.9);
  EXPECT_NEAR(static_cast<double>(twice), 0.1 * kFrames, 5.0 * sd);
  EXPECT_NEAR(static_cast<double>(halves), 0.1 * kFrames, 5.0 * sd);
}

TEST(FrameFault, APulseGoesByAFrameThatIsHeldBack) {
  FrameFault fault(3);
  fault.strike(Upset::Kind::kSwapFrames);
  EXPECT_EQ(fault.pass(Bytes{1}, Chunk::kType, {}), Bytes{});
  EXPECT_EQ(fault.pass(Bytes{2}, GaugePulse::kType, {}), Bytes{2});
  EXPECT_EQ(fault.pass(Bytes{3}, Chunk::kType, {}), (Bytes{3, 1}));
  EXPECT_EQ(fault.pass(Bytes{4}, Chunk::kType, {}), Bytes{4});
}

// A full chunk is 10 + 9 + 600 bytes and two or three of COBS and its zero: 622 at the most. At 622 bytes a
// second chunks are a second apart.
TEST_F(LineInTrouble, ASlowLineCarriesNoMoreThanItsRateForItsTime) {
  traverse_with({.kind = Upset::Kind::kSlow, .after_samples = 400, .for_ms = 2000, .bytes_per_s = 622});
  host.wait_ms(650);
  EXPECT_EQ(samples_heard(), 400U);
  const std::size_t before = host.all_bytes().size();
  host.wait_alive_ms(1990);
  const auto carried = static_cast<double>(host.all_bytes().size() - before);
  EXPECT_NEAR(carried, (1.99 - 0.15) * 622.0, 4.0);  // the next chunk is measured 150 ms later
  EXPECT_EQ(samples_heard(), 550U);
  host.wait_alive_ms(100);  // full rate again: all that waited
  EXPECT_EQ(samples_heard(), 1000U);
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(host.receiver().counters(), ReceiveCounters{});
}

TEST_F(LineInTrouble, AHungGaugeReadsAndSaysNothingAndThenGoesOnWhereItWas) {
  traverse_with({.kind = Upset::Kind::kHang, .after_samples = 400, .for_ms = 5000});
  host.wait_ms(650);
  EXPECT_EQ(samples_heard(), 400U);
  host.clear();
  host.say(10, AskState{});
  host.wait_ms(4900);
  EXPECT_EQ(host.answers(), 0U);
  EXPECT_TRUE(host.heard<GaugePulse>().empty());
  EXPECT_FALSE(line.step({}, host.now()).reading);
  host.wait_ms(150);
  EXPECT_TRUE(line.step({}, host.now()).reading);
  ASSERT_THAT(host.heard<StateReport>(), SizeIs(1)) << "what was said meanwhile waited in the port";
  EXPECT_EQ(host.heard<StateReport>()[0].second.motion, 1);
  host.wait_ms(700);
  EXPECT_THAT(first_samples(), ElementsAre(400, 550, 700, 850));
  ASSERT_THAT(host.heard<Finished>(), SizeIs(1));
  host.say(11, AskState{});
  // 250 ms of approach and a second of traverse, but for the 5 s that it did not live: the boot was 1.4 s
  // ago.
  EXPECT_EQ(host.heard<StateReport>().back().second.seconds_since_boot, 1U);
}

TEST_F(LineInTrouble, AHangAfterTheLastSampleOnlyDelaysFinished) {
  traverse_with({.kind = Upset::Kind::kHang, .after_samples = 1000, .for_ms = 4000});
  host.wait_ms(5200);
  EXPECT_EQ(samples_heard(), 1000U);
  EXPECT_TRUE(host.heard<Finished>().empty());
  host.wait_ms(60);
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
}

TEST_F(LineInTrouble, AHangWithoutAnEndIsForEver) {
  traverse_with({.kind = Upset::Kind::kHang, .after_samples = 400, .for_ms = 0});
  host.wait_ms(24 * 3'600'000);
  EXPECT_EQ(samples_heard(), 400U);
  EXPECT_TRUE(host.heard<Finished>().empty());
}

TEST_F(LineInTrouble, AResetInReplyCutsAFrameAndComesBackAsAnotherBoot) {
  const std::uint64_t boot_before = gauge.boot_id();
  traverse_with(Upset::Kind::kResetInReply);
  host.wait_ms(660);
  EXPECT_THAT(first_samples(), ElementsAre(0, 150)) << "the chunk from 300 on ends in its middle";
  host.clear();
  host.wait_ms(1000);
  // It begins with a zero after it woke: the cut frame is closed and dropped, the first pulse is whole.
  ASSERT_FALSE(host.heard<GaugePulse>().empty());
  EXPECT_NE(host.heard<GaugePulse>()[0].second.boot_id, boot_before);
  EXPECT_EQ(host.receiver().counters().damaged, 1U);
  EXPECT_TRUE(host.heard<Chunk>().empty());
  host.say(11, Resend{.traverse_id = 7, .first_sample = 0, .count = 1});
  EXPECT_EQ(host.heard<Refused>().at(0).second.refusal, 3);
}

TEST_F(LineInTrouble, SeveralFaultsHappenInOneTraverseEachAtItsPlace) {
  world.upsets = {{.kind = Upset::Kind::kDuplicateFrame, .after_samples = 800},
                  {.kind = Upset::Kind::kFlipBit, .after_samples = 100},
                  {.kind = Upset::Kind::kSwapFrames, .after_samples = 400}};
  host.say(9, kOneSecond);
  host.wait_ms(kWholeMs);
  EXPECT_THAT(first_samples(), ElementsAre(100, 400, 250, 550, 700, 700, 800, 950));
}

TEST_F(LineInTrouble, OldDataMayComeUnderTheOldTraversesId) {
  host.say(8, StartTraverse{.traverse_id = 6, .length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500});
  host.wait_ms(kWholeMs);
  host.clear();
  world.under_previous_id = true;
  host.say(9, kOneSecond);
  host.wait_ms(kWholeMs);
  EXPECT_EQ(host.heard<Started>().at(0).second.traverse_id, 7U);
  ASSERT_FALSE(host.heard<Chunk>().empty());
  for (const auto& [sequence, chunk] : host.heard<Chunk>()) {
    EXPECT_EQ(sequence, 9);
    EXPECT_EQ(chunk.traverse_id, 6U);
  }
  EXPECT_EQ(host.heard<Finished>().at(0).second.traverse_id, 6U);
  host.say(10, Resend{.traverse_id = 7, .first_sample = 0, .count = 1});
  EXPECT_EQ(host.heard<Refused>().at(0).second.refusal, 3);
}

TEST_F(LineInTrouble, AReplugIsToldHow) {
  const Replug elsewhere{.other_device = true, .link_path = "/somewhere/else"};
  traverse_with(
      {.kind = Upset::Kind::kDisconnect, .after_samples = 400, .for_ms = 1000, .replug = elsewhere});
  host.wait_ms(700);
  EXPECT_FALSE(line.step({}, host.now()).plugged);
  host.wait_ms(1000);
  const LineStep step = line.step({}, host.now());
  EXPECT_TRUE(step.plugged);
  EXPECT_EQ(step.replug, elsewhere);
}

}  // namespace
}  // namespace crestgate::simulator
