// SPDX-License-Identifier: Apache-2.0
// The dialogue of LINK.md, with a clock turned by hand.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "hand_driven_host.h"

namespace crestgate::simulator {
namespace {

using ::testing::HasSubstr;
using ::testing::SizeIs;

// 1000 samples of 0.5 um at 0.5 mm/s: 1 s.
constexpr StartTraverse kOneSecond{
    .traverse_id = 7, .length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500};

class GaugeDialogue : public ::testing::Test {
 protected:
  Refused refusal(const Message& request) {
    host.clear();
    host.say(++sequence, request);
    const auto refused = host.heard<Refused>();
    if (refused.size() != 1 || host.answers() != 1 || refused[0].first != sequence) return {};
    return refused[0].second;
  }
  // A whole traverse and its heights in order of arrival.
  std::vector<std::int32_t> heights() const {
    std::vector<std::int32_t> all;
    for (const auto& [number, chunk] : host.heard<Chunk>()) {
      EXPECT_EQ(chunk.first_sample, all.size());
      all.insert(all.end(), chunk.height_counts.begin(), chunk.height_counts.end());
    }
    return all;
  }

  KnownWorld world;
  Gauge gauge{GaugeTraits{.serial_number = "SN-0042"}, world, base::MonotonicInstant{}};
  HandDrivenHost host = host_of(gauge);
  std::uint16_t sequence = 100;
};

TEST_F(GaugeDialogue, BeginsWithAZeroAndAPulse) {
  host.wait_ms(0);
  ASSERT_FALSE(host.all_bytes().empty());
  EXPECT_EQ(host.all_bytes().front(), 0);
  EXPECT_EQ(host.heard<GaugePulse>(),
            (std::vector<std::pair<std::uint16_t, GaugePulse>>{
                {std::uint16_t{0}, {.boot_id = gauge.boot_id(), .motion = 0, .stylus_clear = 1}}}));
}

TEST_F(GaugeDialogue, PulsesEveryHalfSecond) {
  host.wait_ms(10'000);
  EXPECT_THAT(host.heard<GaugePulse>(), SizeIs(21));  // at 0, 0.5 ... 10 s
  EXPECT_EQ(host.answers(), 0U);
}

TEST_F(GaugeDialogue, TellsWhoItIs) {
  host.say(1, Hello{});
  const auto told = host.heard<Identity>();
  ASSERT_THAT(told, SizeIs(1));
  EXPECT_EQ(told[0].first, 1);
  EXPECT_EQ(told[0].second.serial_number, "SN-0042");
  EXPECT_EQ(told[0].second.pickup, 1);
  EXPECT_EQ(told[0].second.boot_id, gauge.boot_id());
  EXPECT_EQ(told[0].second.tip_radius_nm, 2000U);
}

// A host that flushed its port on opening has not seen the zero that the gauge began with.
TEST_F(GaugeDialogue, AnswersHelloSoThatAFreshReceiverIsInStep) {
  host.wait_ms(100);
  for (int repeat = 0; repeat < 2; ++repeat) {
    Bytes hello = {0};
    const Bytes wire = wire_of(frame_of(1, Hello{}));
    hello.insert(hello.end(), wire.begin(), wire.end());
    Receiver fresh;
    EXPECT_THAT(fresh.feed(gauge.step(hello, host.now()).bytes), SizeIs(1));
  }
}

TEST_F(GaugeDialogue, TellsItsState) {
  host.wait_ms(2400);
  host.say(1, AskState{});
  ASSERT_THAT(host.heard<StateReport>(), SizeIs(1));
  EXPECT_EQ(host.heard<StateReport>()[0].second, (StateReport{.motion = 0,
                                                              .stylus_clear = 1,
                                                              .fault = 0,
                                                              .height_count = kNoSampleCount,
                                                              .height_step_pm = 1000,
                                                              .seconds_since_boot = 2}));
}

TEST_F(GaugeDialogue, AnswersStillAfterTheAveragingTime) {
  host.say(1, AskStill{.averaging_ms = 200});
  host.wait_ms(199);
  EXPECT_EQ(host.answers(), 0U);
  host.wait_ms(1);
  ASSERT_THAT(host.heard<StillReport>(), SizeIs(1));
  EXPECT_EQ(host.heard<StillReport>()[0].second.samples, 200);
  EXPECT_EQ(host.heard<StillReport>()[0].second.scatter_pm, 4200U);
}

TEST_F(GaugeDialogue, TraversesInOrderAndInTime) {
  host.say(9, kOneSecond);
  ASSERT_THAT(host.heard<Started>(), SizeIs(1));
  EXPECT_EQ(host.heard<Started>()[0].second, (Started{.traverse_id = 7,
                                                      .samples = 1000,
                                                      .spacing_nm = 500,
                                                      .height_step_pm = 1000,
                                                      .speed_um_per_s = 500}));
  EXPECT_FALSE(gauge.stylus_clear());
  host.wait_ms(
      700);  // 250 ms to come down, then 1 sample a ms: three chunks of 150 are done, the fourth is not
  EXPECT_THAT(host.heard<Chunk>(), SizeIs(3));
  host.wait_ms(600);
  EXPECT_THAT(host.heard<Chunk>(), SizeIs(7));
  EXPECT_EQ(host.heard<Chunk>().back().second.height_counts.size(), 100U);
  EXPECT_EQ(heights(), world.traverse({.length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500}).counts);
  const auto finished = host.heard<Finished>();
  ASSERT_THAT(finished, SizeIs(1));
  EXPECT_EQ(finished[0].first, 9);
  EXPECT_EQ(finished[0].second, (Finished{.traverse_id = 7,
                                          .samples = 1000,
                                          .quality = 0,
                                          .check = check_of(wire_heights(heights())),
                                          .duration_ms = 1000}));
  EXPECT_FALSE(gauge.stylus_clear());  // until RETRACT
}

TEST_F(GaugeDialogue, NeverLeavesASecondWithoutAChunk) {
  // 0.05 mm/s at 0.5 um: 100 samples a second, 150 would take 1.5 s.
  host.say(1, StartTraverse{.traverse_id = 1, .length_um = 300, .spacing_nm = 500, .speed_um_per_s = 50});
  std::size_t chunks = 0;
  for (int second = 0; second < 6; ++second) {
    host.wait_alive_ms(1000);
    EXPECT_GT(host.heard<Chunk>().size(), chunks);
    chunks = host.heard<Chunk>().size();
  }
}

TEST_F(GaugeDialogue, ASpeedScaleShortensTheMotionAndNotWhatIsToldOfIt) {
  Gauge fast(GaugeTraits{.speed_scale = 10.0}, world, base::MonotonicInstant{});
  HandDrivenHost fast_host = host_of(fast);
  fast_host.say(1, kOneSecond);
  fast_host.wait_ms(125);
  ASSERT_THAT(fast_host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(fast_host.heard<Finished>()[0].second.duration_ms, 1000U);
  EXPECT_EQ(fast_host.heard<Started>()[0].second.speed_um_per_s, 500U);
}

TEST_F(GaugeDialogue, ARepeatedTraverseIsAnsweredAndNotDoneAgain) {
  host.say(9, kOneSecond);
  host.wait_ms(300);
  host.say(9, kOneSecond);
  host.wait_alive_ms(1500);
  host.say(9, kOneSecond);  // after FINISHED too
  host.wait_alive_ms(1500);
  EXPECT_THAT(host.heard<Started>(), SizeIs(3));
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(world.traverses, 1);
}

TEST_F(GaugeDialogue, ARepeatedRequestGetsTheSameBytes) {
  host.say(5, AskState{});
  host.wait_ms(1500);  // the seconds since boot have moved on meanwhile
  host.say(5, AskState{});
  const auto states = host.heard<StateReport>();
  ASSERT_THAT(states, SizeIs(2));
  EXPECT_EQ(states[0], states[1]);
}

TEST_F(GaugeDialogue, ANewHostThatHitsTheLastSequenceIsNotTakenForARepeat) {
  host.say(5, AskState{});
  host.say(5, Hello{});
  EXPECT_THAT(host.heard<Identity>(), SizeIs(1));
}

TEST_F(GaugeDialogue, ResendBringsTheSamplesAndFinishedAgain) {
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  const auto finished = host.heard<Finished>();
  const std::vector<std::int32_t> all = heights();
  host.clear();
  const Resend request{.traverse_id = 7, .first_sample = 140, .count = 300};
  host.say(10, request);
  std::vector<std::int32_t> again;
  for (const auto& [number, chunk] : host.heard<Chunk>()) {
    EXPECT_EQ(number, 10);
    EXPECT_EQ(chunk.first_sample, 140 + again.size());
    again.insert(again.end(), chunk.height_counts.begin(), chunk.height_counts.end());
  }
  EXPECT_EQ(again, std::vector<std::int32_t>(all.begin() + 140, all.begin() + 440));
  ASSERT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(host.heard<Finished>()[0].first, 10);
  EXPECT_EQ(host.heard<Finished>()[0].second, finished[0].second);
  host.say(10, request);  // its repeat brings all of it again
  EXPECT_THAT(host.heard<Chunk>(), SizeIs(4));
  EXPECT_THAT(host.heard<Finished>(), SizeIs(2));
}

TEST_F(GaugeDialogue, ALostFinishedComesAgainWithOneSample) {
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  const Finished lost = host.heard<Finished>().at(0).second;
  host.clear();
  host.say(10, Resend{.traverse_id = 7, .first_sample = 0, .count = 1});
  ASSERT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(host.heard<Finished>()[0].second, lost);
}

TEST_F(GaugeDialogue, RetractLiftsAndOnlyThenSaysDone) {
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  host.clear();
  host.say(10, Retract{});
  host.say(10, Retract{});  // asked again while it goes up: one answer is enough
  EXPECT_EQ(host.answers(), 0U);
  EXPECT_TRUE(gauge.moving());
  host.wait_ms(300);
  ASSERT_THAT(host.heard<Lifted>(), SizeIs(1));
  EXPECT_EQ(host.heard<Lifted>()[0].first, 10);
  EXPECT_EQ(host.heard<Lifted>()[0].second.stylus_clear, 1);
  EXPECT_TRUE(gauge.stylus_clear());
  host.say(10, Retract{});
  EXPECT_THAT(host.heard<Lifted>(), SizeIs(2));
}

TEST_F(GaugeDialogue, RetractOfAClearStylusIsDoneAtOnce) {
  host.say(1, Retract{});
  ASSERT_THAT(host.heard<Lifted>(), SizeIs(1));
  EXPECT_EQ(host.heard<Lifted>()[0].second.stylus_clear, 1);
}

TEST_F(GaugeDialogue, ResendStillWorksAfterRetract) {
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  host.say(10, Retract{});
  host.wait_ms(300);
  host.clear();
  host.say(11, Resend{.traverse_id = 7, .first_sample = 0, .count = 1000});
  EXPECT_THAT(heights(), SizeIs(1000));
}

TEST_F(GaugeDialogue, AbortStopsATraverseForGood) {
  host.say(9, kOneSecond);
  host.wait_ms(600);
  host.say(10, Abort{});
  host.wait_ms(2000);
  ASSERT_THAT(host.heard<Lifted>(), SizeIs(1));
  EXPECT_EQ(host.heard<Lifted>()[0].first, 10);
  EXPECT_TRUE(host.heard<Finished>().empty());
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 0, .count = 1}).refusal, 3);
}

TEST_F(GaugeDialogue, ANextTraverseMayFollowWithTheStylusDown) {
  host.say(9, kOneSecond);
  host.wait_ms(1300);
  host.clear();
  StartTraverse next = kOneSecond;
  next.traverse_id = 8;
  host.say(10, next);
  host.wait_ms(1300);
  ASSERT_THAT(host.heard<Finished>(), SizeIs(1));
  EXPECT_EQ(host.heard<Finished>()[0].second.traverse_id, 8U);
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 0, .count = 1}).text,
            "no traverse 7: the last one is 8");
}

TEST_F(GaugeDialogue, ThreeSecondsOfHostSilenceLiftTheStylus) {
  host.say(9, StartTraverse{.traverse_id = 7, .length_um = 5000, .spacing_nm = 500, .speed_um_per_s = 500});
  host.wait_ms(2999);
  EXPECT_FALSE(gauge.stylus_clear());
  EXPECT_TRUE(gauge.moving());
  host.wait_ms(501);
  EXPECT_TRUE(gauge.stylus_clear());
  EXPECT_FALSE(gauge.moving());
  host.wait_ms(20'000);
  EXPECT_TRUE(host.heard<Finished>().empty());
  EXPECT_TRUE(host.heard<Lifted>().empty());  // nobody asked
}

TEST_F(GaugeDialogue, AHostThatPulsesKeepsTheTraverseAlive) {
  host.say(9, StartTraverse{.traverse_id = 7, .length_um = 5000, .spacing_nm = 500, .speed_um_per_s = 500});
  host.wait_alive_ms(11'000);
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));
}

TEST_F(GaugeDialogue, DamagedFramesAreNoSignOfLife) {
  host.say(9, StartTraverse{.traverse_id = 7, .length_um = 5000, .spacing_nm = 500, .speed_um_per_s = 500});
  for (int i = 0; i < 8; ++i) {
    host.wait_ms(500);
    host.say_bytes(Bytes{3, 1, 2, 0});
  }
  EXPECT_TRUE(gauge.stylus_clear());
  EXPECT_EQ(gauge.counters().damaged, 8U);
}

TEST_F(GaugeDialogue, RefusesWhileATraverseRuns) {
  host.say(9, kOneSecond);
  host.wait_ms(400);
  for (const Message& request :
       {Message(kOneSecond), Message(Resend{.traverse_id = 7, .first_sample = 0, .count = 1})}) {
    const Refused refused = refusal(request);
    EXPECT_EQ(refused.refusal, 1);
    EXPECT_EQ(refused.text, "traverse 7 is running");
  }
  EXPECT_EQ(refusal(AskStill{.averaging_ms = 100}).refusal, 1);
  host.wait_alive_ms(1500);
  EXPECT_THAT(host.heard<Finished>(), SizeIs(1));  // undisturbed
}

TEST_F(GaugeDialogue, RefusesValuesOutOfRangeAndSaysWhich) {
  StartTraverse request = kOneSecond;
  request.length_um = 900'000;
  EXPECT_EQ(refusal(request),
            (Refused{.refused_type = 4, .refusal = 2, .text = "length 900000 um is beyond 20000 um"}));
  request = kOneSecond;
  request.length_um = 0;
  EXPECT_EQ(refusal(request).text, "length 0 um holds no sample");
  request = kOneSecond;
  request.spacing_nm = 99;
  EXPECT_EQ(refusal(request).text, "spacing 99 nm is below 100 nm");
  request.spacing_nm = 600'000;
  EXPECT_EQ(refusal(request).text, "spacing 600000 nm is beyond 500000 nm");
  request = kOneSecond;
  request.speed_um_per_s = 0;
  EXPECT_EQ(refusal(request).text, "speed 0 um/s is below 50 um/s");
  request.speed_um_per_s = 4'000'000'000;
  EXPECT_EQ(refusal(request).text, "speed 4000000000 um/s is beyond 2000 um/s");
  EXPECT_THAT(refusal(AskStill{.averaging_ms = 9}).text, HasSubstr("not within 10 to 2000 ms"));
  EXPECT_THAT(refusal(AskStill{.averaging_ms = 2001}).text, HasSubstr("not within 10 to 2000 ms"));
  EXPECT_EQ(world.traverses, 0);
  EXPECT_TRUE(gauge.stylus_clear());
}

TEST_F(GaugeDialogue, RefusesToResendWhatItHasNot) {
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 0, .count = 1}),
            (Refused{.refused_type = 5, .refusal = 3, .text = "no traverse 7: no whole traverse is kept"}));
  host.say(++sequence, kOneSecond);
  host.wait_ms(1300);
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 999, .count = 2}).text,
            "samples 999 + 2 are not within the 1000 of the traverse");
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 4'294'967'295, .count = 4'294'967'295}).refusal,
            2);
  EXPECT_EQ(refusal(Resend{.traverse_id = 7, .first_sample = 0, .count = 0}).refusal, 2);
}

TEST_F(GaugeDialogue, NeverAnswersWhatOnlyAGaugeSends) {
  host.wait_ms(0);
  host.clear();
  host.say(1, Started{});
  host.say(0, GaugePulse{});
  host.say(2, Refused{.refused_type = 1, .refusal = 1, .text = "echo"});
  EXPECT_EQ(host.answers(), 0U);
}

TEST_F(GaugeDialogue, AStepThatComesLateCatchesUpInOrder) {
  host.say(9, kOneSecond);
  const Bytes late = gauge.step({}, base::after_ms(host.now(), 2000)).bytes;
  Receiver receiver;
  receiver.feed(Bytes{0});
  std::size_t samples = 0;
  std::size_t pulses = 0;
  for (const Received& received : receiver.feed(late)) {
    if (const auto* chunk = std::get_if<Chunk>(&received.message)) {
      EXPECT_EQ(chunk->first_sample, samples);
      samples += chunk->height_counts.size();
    }
    pulses += std::holds_alternative<GaugePulse>(received.message) ? 1U : 0U;
  }
  EXPECT_EQ(samples, 1000U);
  EXPECT_EQ(pulses, 4U);  // at 0.5, 1, 1.5 and 2 s
}

TEST_F(GaugeDialogue, SameStepsGiveTheSameBytes) {
  const auto session = [] {
    KnownWorld own_world;
    Gauge own(GaugeTraits{.boot_seed = 5}, own_world, base::MonotonicInstant{});
    HandDrivenHost own_host = host_of(own);
    own_host.say(1, Hello{});
    own_host.wait_ms(777);
    own_host.say(2, kOneSecond);
    own_host.wait_alive_ms(1300);
    own_host.say(3, Resend{.traverse_id = 7, .first_sample = 3, .count = 500});
    own_host.say(4, Retract{});
    own_host.wait_ms(900);
    return own_host.all_bytes();
  };
  EXPECT_EQ(session(), session());
}

}  // namespace
}  // namespace crestgate::simulator
