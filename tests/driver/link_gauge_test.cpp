// SPDX-License-Identifier: Apache-2.0
// Sessions against a scripted far end (support/link_peer.h). Required outcomes: protocol/link/LINK.md
// sections 2, 3 and 5. Times are shortened; the order of things is what counts.

#include "driver/gauge/link/link_gauge.h"

#include <cmath>
#include <memory>
#include <numeric>
#include <optional>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/stream/pipe_stream.h"
#include "support/link_peer.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using std::chrono::milliseconds;
using tests::LinkPeer;
using tests::PeerManners;

constexpr std::uint8_t kHello = 0x01;
constexpr std::uint8_t kAskState = 0x02;
constexpr std::uint8_t kTraverse = 0x04;
constexpr std::uint8_t kResend = 0x05;
constexpr std::uint8_t kPulse = 0x10;

std::vector<std::int32_t> some_heights(std::int32_t count = 1000) {
  std::vector<std::int32_t> heights(static_cast<std::size_t>(count));
  for (std::int32_t i = 0; i < count; ++i) heights[static_cast<std::size_t>(i)] = (i * 7919) % 4001 - 2000;
  return heights;
}

LinkOptions quick() {
  LinkOptions options;
  options.timing.answer = milliseconds(150);
  options.timing.retract = milliseconds(300);
  options.timing.silence = milliseconds(600);
  options.timing.pulse = milliseconds(50);
  options.timing.chunk = milliseconds(200);
  options.timing.first_chunk = milliseconds(400);
  options.timing.finish = milliseconds(500);
  return options;
}

class LinkGaugeTest : public ::testing::Test {
 protected:
  void connect(PeerManners manners, LinkOptions options = quick()) {
    if (manners.heights.empty()) manners.heights = some_heights();
    auto pipe = make_pipe(io_.get_executor());
    peer_ = std::make_unique<LinkPeer>(io_.get_executor(), std::move(pipe.far), std::move(manners));
    gauge_ = make_link_gauge(io_.get_executor(), std::move(pipe.near), std::move(options));
  }
  void connect_and_identify(PeerManners manners, LinkOptions options = quick()) {
    connect(std::move(manners), std::move(options));
    const auto identity = tests::run(io_, gauge_->identify());
    ASSERT_TRUE(identity.has_value()) << identity.error().detail;
  }
  base::Result<TraverseResult> traverse() {
    return tests::run(io_, gauge_->traverse({.length_mm = 0.5, .spacing_mm = 0.0005, .speed_mm_per_s = 0.5}));
  }
  void expect_whole(const base::Result<TraverseResult>& result) {
    ASSERT_TRUE(result.has_value()) << result.error().detail;
    EXPECT_EQ(result->heights.counts, peer_->manners().heights);
  }
  void expect_error(const base::Result<TraverseResult>& result, ErrorCode code) {
    ASSERT_FALSE(result.has_value());
    EXPECT_EQ(result.error().code, code) << result.error().detail;
  }

  boost::asio::io_context io_;
  std::unique_ptr<LinkPeer> peer_;
  std::unique_ptr<Gauge> gauge_;
};

TEST_F(LinkGaugeTest, IdentifiesTheGaugeInOurUnits) {
  connect({});
  EXPECT_FALSE(gauge_->online());
  const auto identity = tests::run(io_, gauge_->identify());
  ASSERT_TRUE(identity.has_value());
  EXPECT_EQ(identity->kind, "link");
  EXPECT_EQ(identity->model, "Bench gauge");
  EXPECT_EQ(identity->serial_number, "SN-0042");
  EXPECT_EQ(identity->boot_id, 77U);
  EXPECT_EQ(identity->pickup, base::Pickup::kSkidless);
  EXPECT_DOUBLE_EQ(identity->tip_radius_um.value(), 2.0);
  EXPECT_DOUBLE_EQ(identity->range_um.value(), 1000.0);
  EXPECT_TRUE(gauge_->online());
}

TEST_F(LinkGaugeTest, AnotherSerialNumberIsTheWrongGaugeAndStaysOffline) {
  LinkOptions options = quick();
  options.expected_serial_number = "SN-0041";
  connect({}, options);
  const auto identity = tests::run(io_, gauge_->identify());
  ASSERT_FALSE(identity.has_value());
  EXPECT_EQ(identity.error().code, ErrorCode::kWrongIdentity);
  EXPECT_NE(identity.error().detail.find("SN-0042"), std::string::npos);
  EXPECT_FALSE(gauge_->online());
}

TEST_F(LinkGaugeTest, ReadsStateAndStillReadingInMicrometres) {
  connect_and_identify({});
  const auto state = tests::run(io_, gauge_->state());
  ASSERT_TRUE(state.has_value());
  EXPECT_TRUE(state->ready);
  EXPECT_TRUE(state->stylus_clear);
  EXPECT_DOUBLE_EQ(state->height_um, -2.5);  // -2500 counts of 1000 pm
  const auto still = tests::run(io_, gauge_->still_reading(milliseconds(200)));
  ASSERT_TRUE(still.has_value());
  EXPECT_DOUBLE_EQ(still->height_um, 1.7);
  EXPECT_DOUBLE_EQ(still->scatter_um, 0.0042);
  EXPECT_EQ(still->samples, 400U);
  EXPECT_EQ(tests::run(io_, gauge_->still_reading(milliseconds(9))).error().code, ErrorCode::kOutOfRange);
}

TEST_F(LinkGaugeTest, AFaultIsStatedWithItsName) {
  PeerManners manners;
  manners.fault = 101;
  connect_and_identify(manners);
  const auto state = tests::run(io_, gauge_->state());
  ASSERT_TRUE(state.has_value());
  EXPECT_FALSE(state->ready);
  EXPECT_EQ(state->fault, 101);
  EXPECT_EQ(state->fault_text, "drive blocked");
}

TEST_F(LinkGaugeTest, ATraverseBringsEverySampleWithItsSettings) {
  PeerManners manners;
  manners.quality = 0b1110;
  connect_and_identify(manners);
  const auto before = std::chrono::steady_clock::now().time_since_epoch();
  const auto result = traverse();
  expect_whole(result);
  EXPECT_DOUBLE_EQ(result->heights.spacing_mm, 0.0005);
  EXPECT_DOUBLE_EQ(result->heights.height_step_um, 0.001);
  EXPECT_DOUBLE_EQ(result->heights.speed_mm_per_s, 500.0);
  EXPECT_EQ(result->heights.quality,
            unsigned{base::kQualityStylusLifted} | base::kQualitySpeedUnsteady | base::kQualityVibration);
  EXPECT_EQ(result->resend_rounds, 0U);
  const auto after = std::chrono::steady_clock::now().time_since_epoch();
  EXPECT_GE(result->last_sample_arrived.ns, std::chrono::nanoseconds(before).count());
  EXPECT_LE(result->last_sample_arrived.ns, std::chrono::nanoseconds(after).count());
  EXPECT_TRUE(tests::run(io_, gauge_->retract()).has_value());
  EXPECT_FALSE(peer_->stylus_down());
}

// The request on the wire: id, 500 um, 500 nm, 500 um/s.
TEST_F(LinkGaugeTest, AsksInTheUnitsOfTheWire) {
  connect_and_identify({});
  expect_whole(traverse());
  for (const auto& heard : peer_->heard()) {
    if (heard.type != kTraverse) continue;
    const tests::Wire units(heard.body.begin() + 4, heard.body.end());
    EXPECT_EQ(units, (tests::Wire{0xF4, 1, 0, 0, 0xF4, 1, 0, 0, 0xF4, 1, 0, 0}));
  }
  for (const TraverseRequest& bad : {TraverseRequest{0, 0.0005, 0.5}, TraverseRequest{5, -1, 0.5},
                                     TraverseRequest{5, 0.0005, NAN}, TraverseRequest{1e9, 0.0005, 0.5}}) {
    EXPECT_EQ(tests::run(io_, gauge_->traverse(bad)).error().code, ErrorCode::kOutOfRange);
  }
}

TEST_F(LinkGaugeTest, SamplesThatAreNoHeightsAreFlagged) {
  PeerManners manners;
  manners.heights = some_heights(300);
  manners.heights[10] = base::kMissingCount;
  manners.heights[20] = base::kOverRangeCount;
  connect_and_identify(manners);
  const auto result = traverse();
  expect_whole(result);
  EXPECT_EQ(result->heights.quality, unsigned{base::kQualityMissing} | base::kQualityOverRange);
}

TEST_F(LinkGaugeTest, ALostRequestIsRepeatedWithTheSameSequence) {
  PeerManners manners;
  manners.ignore_first = 2;
  connect(manners);
  ASSERT_TRUE(tests::run(io_, gauge_->identify()).has_value());
  ASSERT_EQ(peer_->heard_of(kHello), 3U);
  EXPECT_EQ(peer_->heard()[0].sequence, peer_->heard()[1].sequence);
  EXPECT_EQ(peer_->heard()[1].sequence, peer_->heard()[2].sequence);
  EXPECT_EQ(gauge_->health().repeats, 2U);
}

TEST_F(LinkGaugeTest, ThreeRequestsWithoutAnAnswerAreSilence) {
  connect_and_identify({});
  peer_->manners().ignore_first = 1000;
  const auto state = tests::run(io_, gauge_->state());
  ASSERT_FALSE(state.has_value());
  EXPECT_EQ(state.error().code, ErrorCode::kNoReply) << state.error().detail;
  EXPECT_EQ(peer_->heard_of(kAskState), 3U);
  EXPECT_TRUE(gauge_->online()) << "pulses still come";
}

TEST_F(LinkGaugeTest, OnlyDamagedAnswersAreALinkDamage) {
  PeerManners manners;
  connect_and_identify(manners);
  peer_->manners().damage_all = true;
  EXPECT_EQ(tests::run(io_, gauge_->state()).error().code, ErrorCode::kChecksum);
}

TEST_F(LinkGaugeTest, AnotherVersionOfTheLinkIsNotSupported) {
  PeerManners manners;
  manners.version = 2;
  connect(manners);
  const auto identity = tests::run(io_, gauge_->identify());
  ASSERT_FALSE(identity.has_value());
  EXPECT_EQ(identity.error().code, ErrorCode::kNotSupported) << identity.error().detail;
}

TEST_F(LinkGaugeTest, LateStartedStartsOnlyOnce) {
  PeerManners manners;
  manners.ignore_started = 2;
  connect_and_identify(manners);
  expect_whole(traverse());
  EXPECT_EQ(peer_->heard_of(kTraverse), 3U);
  EXPECT_EQ(peer_->traverses_begun(), 1);
}

TEST_F(LinkGaugeTest, LostChunksAreAskedForOncePerGap) {
  PeerManners manners;
  manners.lose_chunks = {0, 2, 3, 6};  // 1000 samples: chunks 0 to 6
  connect_and_identify(manners);
  const auto result = traverse();
  expect_whole(result);
  EXPECT_EQ(peer_->heard_of(kResend), 3U);
  EXPECT_EQ(result->resend_rounds, 1U);
  EXPECT_EQ(result->resent_samples, 150U + 300U + 100U);
  EXPECT_EQ(result->heights.quality, unsigned{base::kQualityResent});
  EXPECT_EQ(gauge_->health().resends, 3U);
}

TEST_F(LinkGaugeTest, LostFinishedIsBroughtByAskingForOneSample) {
  PeerManners manners;
  manners.lose_finished = 1;
  connect_and_identify(manners);
  expect_whole(traverse());
  ASSERT_EQ(peer_->heard_of(kResend), 1U);
}

TEST_F(LinkGaugeTest, LostEndAndFinishedAreBroughtOnceAllSamplesWereDue) {
  PeerManners manners;
  manners.lose_chunks = {5, 6};
  manners.lose_finished = 1;
  connect_and_identify(manners);
  expect_whole(traverse());
}

TEST_F(LinkGaugeTest, DoubledAndExchangedChunksChangeNothing) {
  PeerManners manners;
  manners.chunks_twice = true;
  manners.chunks_backwards = true;
  connect_and_identify(manners);
  const auto result = traverse();
  expect_whole(result);
  EXPECT_EQ(result->heights.quality, 0U);
}

TEST_F(LinkGaugeTest, GarbageBetweenFramesIsCountedAndChangesNothing) {
  PeerManners manners;
  manners.garbage_between = true;
  connect_and_identify(manners);
  expect_whole(traverse());
  EXPECT_GT(gauge_->health().frames_damaged, 7U);
}

TEST_F(LinkGaugeTest, ContradictingChunksAreNeverASurface) {
  PeerManners manners;
  manners.contradict = true;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kChecksum);
}

TEST_F(LinkGaugeTest, AWrongCheckOverTheWholeTraverseIsNeverASurface) {
  PeerManners manners;
  manners.wrong_check = true;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kChecksum);
}

TEST_F(LinkGaugeTest, FinishedThatCountsFewerSamplesIsAStop) {
  PeerManners manners;
  manners.finished_short_by = 1;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kStopped);
}

TEST_F(LinkGaugeTest, AStallWithPulsesIsStoppedInTheMiddle) {
  PeerManners manners;
  manners.heights = some_heights(3000);
  manners.speed_um_per_s = 500;  // 3 s: data are still due
  manners.stall_after = 2;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kStopped);
  EXPECT_TRUE(gauge_->online());
  EXPECT_GE(peer_->heard_of(kPulse), 2U) << "the gauge must hear that we live";
}

TEST_F(LinkGaugeTest, NoDataAtAllAfterStartedIsStoppedInTheMiddle) {
  PeerManners manners;
  manners.speed_um_per_s = 500;
  manners.stall_after = 0;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kStopped);
}

TEST_F(LinkGaugeTest, SilenceLosesTheLink) {
  connect_and_identify({});
  int changes = 0;
  gauge_->on_change([&] { ++changes; });
  peer_->manners().pulses = false;
  tests::run_until(io_, [&] { return !gauge_->online(); });
  EXPECT_EQ(changes, 1);
  EXPECT_EQ(gauge_->offline_reason().code, ErrorCode::kNoReply);
  EXPECT_EQ(tests::run(io_, gauge_->state()).error().code, ErrorCode::kDisconnected);
}

TEST_F(LinkGaugeTest, AnotherBootIdInAPulseIsARestart) {
  PeerManners manners;
  manners.restart_after = 2;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kRestarted);
  EXPECT_FALSE(gauge_->online());
  EXPECT_EQ(gauge_->offline_reason().code, ErrorCode::kRestarted);
}

TEST_F(LinkGaugeTest, RefusalsCarryTheGaugesOwnWords) {
  PeerManners manners;
  manners.refuse = 2;
  connect_and_identify(manners);
  const auto out_of_range = traverse();
  expect_error(out_of_range, ErrorCode::kOutOfRange);
  EXPECT_NE(out_of_range.error().detail.find("because of a test"), std::string::npos);
  peer_->manners().refuse = 1;
  expect_error(traverse(), ErrorCode::kRefused);
  peer_->manners().refuse = 4;
  expect_error(traverse(), ErrorCode::kDeviceFault);
}

TEST_F(LinkGaugeTest, DamageThatNeverHealsIsALinkDamage) {
  PeerManners manners;
  manners.damage_chunks = true;
  connect_and_identify(manners);
  expect_error(traverse(), ErrorCode::kChecksum);
  EXPECT_EQ(peer_->heard_of(kResend), 8U) << "rounds of the page";
}

TEST_F(LinkGaugeTest, APortThatGoesAwayEndsTheTraverseAtOnce) {
  PeerManners manners;
  manners.speed_um_per_s = 500;
  manners.stall_after = 1;
  connect_and_identify(manners);
  std::optional<base::Result<TraverseResult>> result;
  tests::start(io_, gauge_->traverse({0.5, 0.0005, 0.5}), result);
  tests::run_until(io_, [&] { return peer_->traverses_begun() == 1; });
  peer_->hang_up();
  tests::run_until(io_, [&] { return result.has_value(); });
  expect_error(*result, ErrorCode::kDisconnected);
}

TEST_F(LinkGaugeTest, AbortEndsAWaitingTraverseAndLeavesTheStylusClear) {
  PeerManners manners;
  manners.speed_um_per_s = 5;
  manners.stall_after = 1;
  connect_and_identify(manners);
  std::optional<base::Result<TraverseResult>> result;
  tests::start(io_, gauge_->traverse({0.5, 0.0005, 0.5}), result);
  tests::run_until(io_, [&] { return peer_->traverses_begun() == 1; });
  EXPECT_EQ(tests::run(io_, gauge_->state()).error().code, ErrorCode::kBusy);
  const auto aborted = tests::run(io_, gauge_->abort());
  EXPECT_TRUE(aborted.has_value()) << aborted.error().detail;
  ASSERT_TRUE(result.has_value());
  expect_error(*result, ErrorCode::kCancelled);
  EXPECT_FALSE(peer_->stylus_down());
  EXPECT_TRUE(tests::run(io_, gauge_->state()).has_value()) << "usable again";
}

TEST_F(LinkGaugeTest, RetractThatDoesNotClearTheStylusIsAnError) {
  PeerManners manners;
  manners.clear_after_retract = 0;
  connect_and_identify(manners);
  expect_whole(traverse());
  EXPECT_EQ(tests::run(io_, gauge_->retract()).error().code, ErrorCode::kDeviceFault);
}

TEST_F(LinkGaugeTest, TheNextTraverseMayFollowAtOnceAndHasAnIdOfItsOwn) {
  connect_and_identify({});
  expect_whole(traverse());
  peer_->manners().heights = some_heights(450);
  expect_whole(traverse());
  EXPECT_EQ(peer_->traverses_begun(), 2);
}

TEST_F(LinkGaugeTest, OurOwnWordsComingBackAreNoAnswer) {
  auto pipe = make_pipe(io_.get_executor());
  gauge_ = make_link_gauge(io_.get_executor(), std::move(pipe.near), quick());
  std::optional<base::Result<base::GaugeIdentity>> identity;
  tests::start(io_, gauge_->identify(), identity);
  std::array<std::byte, 256> buffer{};
  const auto later = [] { return std::chrono::steady_clock::now() + std::chrono::seconds(5); };
  while (!identity) {
    const auto got = tests::run(io_, pipe.far->read_some(buffer, later()));
    if (!got) break;
    static_cast<void>(tests::run(io_, pipe.far->write(std::span(buffer).first(*got), later())));
  }
  tests::run_until(io_, [&] { return identity.has_value(); });
  EXPECT_EQ(identity->error().code, ErrorCode::kNoReply);
  EXPECT_EQ(gauge_->health().frames_unexpected, 3U);
}

TEST_F(LinkGaugeTest, HealthKnowsWhatWasHeard) {
  connect({});
  EXPECT_FALSE(gauge_->health().seconds_since_last_byte.has_value());
  ASSERT_TRUE(tests::run(io_, gauge_->identify()).has_value());
  tests::run_until(io_, [&] { return gauge_->health().stylus_clear_seen.has_value(); });
  const GaugeHealth health = gauge_->health();
  EXPECT_GE(health.frames_good, 2U);
  EXPECT_LT(health.seconds_since_last_byte.value(), 20.0);
  EXPECT_TRUE(health.stylus_clear_seen.value());
  EXPECT_FALSE(health.moving_seen.value());
}

TEST_F(LinkGaugeTest, DestroyedWhileARequestWaitsTheRequestStillEnds) {
  PeerManners manners;
  manners.ignore_first = 1000;
  connect(manners);
  std::optional<base::Result<base::GaugeIdentity>> identity;
  tests::start(io_, gauge_->identify(), identity);
  tests::settle(io_);
  gauge_.reset();
  tests::run_until(io_, [&] { return identity.has_value(); });
  EXPECT_EQ(identity->error().code, ErrorCode::kDisconnected);
}

}  // namespace
}  // namespace crestgate::driver
