// SPDX-License-Identifier: Apache-2.0
// What the gauge and its line do when things go wrong.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "hand_driven_host.h"

namespace crestgate::simulator {
namespace {

using ::testing::SizeIs;

constexpr StartTraverse kOneSecond{
    .traverse_id = 7, .length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500};

class GaugeInTrouble : public ::testing::Test {
 protected:
  void traverse_with(Upset::Kind kind, std::int64_t for_ms = 0) {
    world.upsets = {{.kind = kind, .after_samples = 400, .for_ms = for_ms}};
    host.say(9, kOneSecond);
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

TEST_F(GaugeInTrouble, AStallStopsTheHeightsAndNothingElse) {
  traverse_with(Upset::Kind::kStall);
  host.wait_alive_ms(4000);
  EXPECT_EQ(samples_heard(), 400U);
  EXPECT_TRUE(host.heard<Finished>().empty());
  host.clear();
  host.say(10, AskState{});
  ASSERT_THAT(host.heard<StateReport>(), SizeIs(1));
  EXPECT_EQ(host.heard<StateReport>()[0].second.motion, 1);
  EXPECT_EQ(host.heard<StateReport>()[0].second.height_count, 7 * 399);
  host.say(11, Abort{});
  host.wait_ms(1000);
  EXPECT_THAT(host.heard<Lifted>(), SizeIs(1));
}

TEST_F(GaugeInTrouble, AStallAfterTheLastSampleWithholdsFinished) {
  world.upsets = {{.kind = Upset::Kind::kStall, .after_samples = 1000}};
  host.say(9, kOneSecond);
  host.wait_alive_ms(4000);
  EXPECT_EQ(samples_heard(), 1000U);
  EXPECT_TRUE(host.heard<Finished>().empty());
}

TEST_F(GaugeInTrouble, ASilentLineCarriesNothingEitherWayUntilItsTimeIsUp) {
  traverse_with(Upset::Kind::kSilent, 2000);
  host.wait_ms(700);
  EXPECT_EQ(samples_heard(), 400U);
  host.clear();
  host.say(10, AskState{});
  host.wait_ms(1900);
  EXPECT_EQ(host.answers(), 0U);
  EXPECT_TRUE(host.heard<GaugePulse>().empty());
  host.wait_ms(400);
  host.say(10, AskState{});
  EXPECT_THAT(host.heard<StateReport>(), SizeIs(1));
  host.say(11, Resend{.traverse_id = 7, .first_sample = 400, .count = 600});  // the gauge went on meanwhile
  EXPECT_EQ(samples_heard(), 600U);
}

TEST_F(GaugeInTrouble, ARestartForgetsAllAndHasAnotherBootId) {
  host.wait_ms(0);
  const std::uint64_t boot_before = gauge.boot_id();
  traverse_with(Upset::Kind::kRestart);
  host.wait_ms(660);
  host.clear();
  host.say(10, AskState{});
  host.wait_ms(600);
  EXPECT_TRUE(host.heard<GaugePulse>().empty());  // still booting
  EXPECT_EQ(host.answers(), 0U);
  host.wait_ms(200);
  ASSERT_FALSE(host.heard<GaugePulse>().empty());
  EXPECT_NE(host.heard<GaugePulse>()[0].second.boot_id, boot_before);
  EXPECT_EQ(host.heard<GaugePulse>()[0].second.stylus_clear, 1);
  host.say(11, Resend{.traverse_id = 7, .first_sample = 0, .count = 1});
  ASSERT_THAT(host.heard<Refused>(), SizeIs(1));
  EXPECT_EQ(host.heard<Refused>()[0].second.refusal, 3);
}

TEST_F(GaugeInTrouble, ABlockedDriveIsAFaultThatRefusesToMeasure) {
  traverse_with(Upset::Kind::kDriveBlocked, 1500);
  host.wait_ms(800);
  host.clear();
  host.say(10, AskState{});
  EXPECT_EQ(host.heard<StateReport>().at(0).second.motion, 2);
  EXPECT_EQ(host.heard<StateReport>().at(0).second.fault, 101);
  host.say(11, kOneSecond);
  EXPECT_EQ(host.heard<Refused>().at(0).second.refusal, 4);
  host.say(12, Retract{});
  host.wait_ms(2000);
  EXPECT_EQ(host.heard<Lifted>().at(0).second.stylus_clear, 1);
  host.say(13, kOneSecond);
  EXPECT_THAT(host.heard<Started>(), SizeIs(1));
}

TEST_F(GaugeInTrouble, ADisconnectUnplugsThePortForItsTime) {
  traverse_with(Upset::Kind::kDisconnect, 1000);
  base::MonotonicInstant now = host.now();
  std::vector<std::pair<std::int64_t, bool>> changes;  // ms, plugged
  bool plugged = true;
  while (now.ns < 4000 * base::kNsPerMs) {
    now = std::max(now, line.next_due());
    const LineStep step = line.step({}, now);
    if (step.plugged != plugged) changes.emplace_back(now.ns / base::kNsPerMs, step.plugged);
    plugged = step.plugged;
    EXPECT_TRUE(plugged || step.bytes.empty());
  }
  // 250 ms to come down and 400 samples of a millisecond each.
  EXPECT_EQ(changes, (std::vector<std::pair<std::int64_t, bool>>{{650, false}, {1650, true}}));
}

TEST_F(GaugeInTrouble, QualityBitsReachFinished) {
  world.quality = kWireStylusLifted | kWireVibration;
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  EXPECT_EQ(host.heard<Finished>().at(0).second.quality, 0b1010);
}

TEST_F(GaugeInTrouble, ADamagedLineLosesFramesButNeverInventsOne) {
  world.faults.to_host = {.flip_probability = 0.002, .drop_probability = 0.001};
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  std::size_t chunks = 0;
  for (const auto& [number, chunk] : host.heard<Chunk>()) {
    ++chunks;
    for (std::size_t i = 0; i < chunk.height_counts.size(); ++i) {
      EXPECT_EQ(chunk.height_counts[i], static_cast<std::int32_t>(7 * (chunk.first_sample + i)));
    }
  }
  EXPECT_LT(chunks, 7U);
  EXPECT_GT(host.receiver().counters().damaged, 0U);
}

TEST_F(GaugeInTrouble, EnoughRoundsOfResendBringAllOverADamagedLine) {
  world.faults.to_host = {.flip_probability = 0.0005, .drop_probability = 0.0005};
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  std::vector<bool> have(1000, false);
  bool finished = false;
  const auto note = [&] {
    for (const auto& [number, chunk] : host.heard<Chunk>()) {
      for (std::size_t i = 0; i < chunk.height_counts.size(); ++i) have[chunk.first_sample + i] = true;
    }
    finished = finished || !host.heard<Finished>().empty();
  };
  note();
  std::uint16_t sequence = 10;
  for (int round = 0; round < 8; ++round) {
    const auto gap = std::find(have.begin(), have.end(), false);
    if (gap == have.end() && finished) break;
    const auto first = static_cast<std::uint32_t>(gap == have.end() ? 0 : gap - have.begin());
    host.say(sequence++, Resend{.traverse_id = 7, .first_sample = first, .count = 1000 - first});
    note();
  }
  EXPECT_TRUE(finished);
  EXPECT_EQ(std::count(have.begin(), have.end(), true), 1000);
}

}  // namespace
}  // namespace crestgate::simulator
