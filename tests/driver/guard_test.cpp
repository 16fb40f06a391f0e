// SPDX-License-Identifier: Apache-2.0
// What makes the guard drop its lights, and what does not.
#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <filesystem>
#include <memory>
#include <set>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "driver/guard_bench.h"
#include "driver/signal/guard/guard_frame.h"
#include "support/processes.h"
#include "support/relay_box.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using tests::eventually;
using tests::guard_wants;

TEST_F(GuardTest, BeginsBySwitchingOffAndSaysSo) {
  gpio_.leave_high(kGreen);
  const auto guard = started();
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, LightsWhatItIsToldAndAnswersWithTheStampOfTheQuestion) {
  const auto guard = started();
  for (const unsigned lights : {1U, 2U, 3U, 0U, 3U}) {
    const std::uint32_t stamp = stamp_now_ms();
    guard->write(guard_bytes('S', lights, stamp));
    EXPECT_EQ(guard->read(14), guard_bytes('A', lights, stamp));
    EXPECT_EQ(gpio_.is_high(1), (lights & 1U) != 0);
    EXPECT_EQ(gpio_.is_high(2), (lights & 2U) != 0);
  }
}

TEST_F(GuardTest, WhatGoesOffGoesFirst) {
  const auto guard = lit();
  guard->write(guard_wants(1));
  ASSERT_TRUE(guard->read(14).has_value());
  const auto log = gpio_.log();
  ASSERT_GE(log.size(), 2U);
  EXPECT_EQ(log[log.size() - 2].light, kGreen);
  EXPECT_FALSE(log[log.size() - 2].is);
  EXPECT_TRUE(log.back().is);
}

TEST_F(GuardTest, StaysLitAsLongAsItIsRenewed) {
  const auto guard = lit();
  const std::int64_t begin_ns = tests::monotonic_ns();
  for (int turn = 0; turn < 30; ++turn) {
    light(*guard);
    std::this_thread::sleep_for(milliseconds(50));
  }
  EXPECT_LT(tests::dark_after_ms(gpio_.log(), kGreen, begin_ns), 0.0);
}

TEST_F(GuardTest, ALeaseThatRunsOutDropsAllAndAFreshFrameLightsAgain) {
  const auto guard = started();
  for (int turn = 0; turn < 3; ++turn) {
    const std::int64_t told_ns = tests::monotonic_ns();
    light(*guard);
    EXPECT_EQ((*guard->read(14))[1], 0);  // it says so by itself
    const double dark_ms = tests::dark_after_ms(gpio_.log(), kGreen, told_ns);
    EXPECT_GE(dark_ms, 298.0);  // stamps are whole milliseconds
    EXPECT_LT(dark_ms, kPromisedMs);
  }
}

TEST_F(GuardTest, TheLeaseRunsFromTheStampAndNotFromTheArrival) {
  const auto guard = started();
  const std::uint32_t old = stamp_now_ms() - 300;
  guard->write(guard_bytes('S', 2, old));
  EXPECT_EQ(guard->read(14), guard_bytes('A', 0, old));
  const std::int64_t told_ns = tests::monotonic_ns();
  const std::uint32_t older = stamp_now_ms() - 200;
  guard->write(guard_bytes('S', 2, older));
  EXPECT_EQ((*guard->read(14))[1], 2);
  EXPECT_EQ((*guard->read(14))[1], 0);
  EXPECT_LT(tests::dark_after_ms(gpio_.log(), kGreen, told_ns), 300.0);
}

// A daemon that dies leaves frames in the channel; a guard that had no time for them must not act on them.
TEST_F(GuardTest, FramesThatLayAboutWhileItWasStoppedLightNothing) {
  const auto guard = started();
  guard->signal(SIGSTOP);
  ASSERT_TRUE(eventually([&] { return tests::process_facts(guard->pid()).state == 'T'; }));
  for (int turn = 0; turn < 5; ++turn) guard->write(guard_wants(2));
  std::this_thread::sleep_for(milliseconds(350));  // this is the time that the test is about
  guard->signal(SIGCONT);
  for (int turn = 0; turn < 5; ++turn) EXPECT_EQ((*guard->read(14))[1], 0);
  const auto log = gpio_.log();
  EXPECT_TRUE(std::none_of(log.begin(), log.end(), [](const tests::LightEntry& entry) { return entry.is; }));
}

TEST_F(GuardTest, EndOfFileDropsAllAtOnce) {
  const auto guard = lit();
  const std::int64_t now_ns = tests::monotonic_ns();
  guard->close_channel();
  expect_dark_and_exit(*guard, now_ns, 0);
  EXPECT_LT(tests::dark_after_ms(gpio_.log(), kGreen, now_ns), 250.0);  // not only when the lease ends
}

TEST_F(GuardTest, EverySignalThatCanBeCaughtDropsAll) {
  for (const int number : {SIGTERM, SIGINT, SIGHUP, SIGQUIT, SIGUSR1, SIGUSR2, SIGALRM, SIGTSTP, SIGTTIN,
                           SIGXCPU, SIGVTALRM, SIGPROF, SIGIO, SIGPWR, SIGRTMIN, SIGRTMAX}) {
    const auto guard = lit();
    const std::int64_t now_ns = tests::monotonic_ns();
    guard->signal(number);
    SCOPED_TRACE("signal " + std::to_string(number));
    expect_dark_and_exit(*guard, now_ns, 0);
  }
}

TEST_F(GuardTest, SignalsThatMeanNothingChangeNothing) {
  const auto guard = lit();
  for (const int number : {SIGCONT, SIGCHLD, SIGWINCH, SIGURG, SIGPIPE}) guard->signal(number);
  light(*guard);
  EXPECT_TRUE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, AnyDamagedFrameDropsAll) {
  // Every byte, one bit each; every bit is in GuardFrame.EverySingleBitFlipIsNoticed.
  for (std::size_t byte = 0; byte < 14; ++byte) {
    const auto guard = lit();
    auto bytes = guard_wants(2);
    bytes[byte] = static_cast<std::uint8_t>(bytes[byte] ^ (1U << (byte % 8)));
    const std::int64_t now_ns = tests::monotonic_ns();
    guard->write(bytes);
    SCOPED_TRACE("byte " + std::to_string(byte));
    expect_dark_and_exit(*guard, now_ns, 1);
    EXPECT_EQ(guard->complaints(), "crestgate-guard: a malformed frame\n");
  }
}

TEST_F(GuardTest, AWholeFrameThatMakesNoSenseDropsAll) {
  const std::vector<std::vector<std::uint8_t>> nonsense{
      guard_bytes('A', 2, stamp_now_ms()),
      guard_bytes('F', 2, stamp_now_ms()),
      guard_bytes('T', 2, stamp_now_ms()),
      guard_bytes('\0', 0, stamp_now_ms()),
      guard_bytes('S', 4, stamp_now_ms()),  // a light that it does not have
      guard_bytes('S', 2, stamp_now_ms() + 60'000),
      std::vector<std::uint8_t>(14, 0),
      std::vector<std::uint8_t>(14, 255)};
  for (const auto& bytes : nonsense) {
    const auto guard = lit();
    const std::int64_t now_ns = tests::monotonic_ns();
    guard->write(bytes);
    expect_dark_and_exit(*guard, now_ns, 1);
  }
}

TEST_F(GuardTest, AFrameInPiecesIsAFrame) {
  const auto guard = started();
  const std::uint32_t stamp = stamp_now_ms();
  for (const std::uint8_t byte : guard_bytes('S', 2, stamp)) guard->write({byte});
  EXPECT_EQ(guard->read(14), guard_bytes('A', 2, stamp));
}

TEST_F(GuardTest, HalfAFrameRenewsNothing) {
  const auto guard = started();
  const std::int64_t told_ns = tests::monotonic_ns();
  light(*guard);
  auto half = guard_wants(2);
  half.resize(9);
  guard->write(half);
  EXPECT_EQ((*guard->read(14))[1], 0);
  EXPECT_LT(tests::dark_after_ms(gpio_.log(), kGreen, told_ns), kPromisedMs);
  guard->end_of_speech();
  EXPECT_EQ(guard->ended(), 0);
}

TEST_F(GuardTest, HalfAFrameAndTheEndDropsAll) {
  const auto guard = lit();
  auto half = guard_wants(2);
  half.resize(13);
  const std::int64_t now_ns = tests::monotonic_ns();
  guard->write(half);
  guard->close_channel();
  expect_dark_and_exit(*guard, now_ns, 0);
}

// A byte now and then keeps the channel alive but is no renewal.
TEST_F(GuardTest, ATrickleOfBytesIsNoRenewal) {
  const auto guard = started();
  const std::int64_t told_ns = tests::monotonic_ns();
  light(*guard);
  for (const std::uint8_t byte : guard_wants(2)) {
    guard->write({byte});
    std::this_thread::sleep_for(milliseconds(40));
  }
  const double dark_ms = tests::dark_after_ms(gpio_.log(), kGreen, told_ns);
  EXPECT_GE(dark_ms, 0.0);
  EXPECT_LT(dark_ms, kPromisedMs);
}

TEST_F(GuardTest, AnswersThatNobodyTakesDropAll) {
  const auto guard = lit();
  guard->end_of_hearing();
  const std::int64_t now_ns = tests::monotonic_ns();
  guard->write(guard_wants(2));
  expect_dark_and_exit(*guard, now_ns, 1);
}

TEST_F(GuardTest, ADaemonThatSpeaksButNeverReadsDropsAll) {
  const auto guard = lit();
  const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(15);
  while (!guard->ended(milliseconds(0)) && std::chrono::steady_clock::now() < limit)
    guard->write(guard_wants(2));
  EXPECT_EQ(guard->ended(), 1);
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, ALineThatDoesNotFollowDropsAll) {
  const auto guard = lit();
  gpio_.set_faults("stuck 2 0");
  const std::int64_t now_ns = tests::monotonic_ns();
  guard->write(guard_wants(2));
  expect_dark_and_exit(*guard, now_ns, 1);
}

TEST_F(GuardTest, WhatCannotBeSwitchedOffIsTriedUntilItCan) {
  const auto guard = lit();
  gpio_.set_faults("set " + std::to_string(EIO) + "\nrequest " + std::to_string(EIO));
  guard->write(guard_wants(0));
  for (int turn = 0; turn < 3; ++turn) EXPECT_EQ((*guard->read(14))[0], 'F');
  EXPECT_TRUE(gpio_.is_high(kGreen));
  // Deaf to everything else meanwhile.
  guard->signal(SIGTERM);
  guard->end_of_speech();
  EXPECT_FALSE(guard->ended(milliseconds(200)).has_value());
  const std::int64_t mended_ns = tests::monotonic_ns();
  gpio_.set_faults("");
  expect_dark_and_exit(*guard, mended_ns, 1);
  EXPECT_LT(tests::dark_after_ms(gpio_.log(), kGreen, mended_ns), 250.0);  // it tries every 50 ms
  EXPECT_EQ(guard->complaints(),
            "crestgate-guard: the device does not do as it is told\n"
            "crestgate-guard: cannot switch the lights off; trying again every 50 ms\n");
}

TEST_F(GuardTest, ALapseThatCannotBeCarriedOutIsMadeUpForAndItGoesOn) {
  const auto guard = lit();
  gpio_.set_faults("set " + std::to_string(EIO) + "\nrequest " + std::to_string(EIO));
  EXPECT_EQ((*guard->read(14))[0], 'F');
  gpio_.set_faults("");
  ASSERT_TRUE(eventually([&] { return !gpio_.is_high(kGreen); }));
  auto said = guard->read(14);
  while (said && (*said)[0] == 'F') said = guard->read(14);
  ASSERT_TRUE(said.has_value());
  EXPECT_EQ((*said)[0], 'A');
  light(*guard);
}

// Nobody reads its log, and the pipe is full.
TEST_F(GuardTest, ALogThatNobodyReadsDoesNotKeepTheLightsOn) {
  std::array<int, 2> ends{};
  ASSERT_EQ(::pipe2(ends.data(), O_CLOEXEC | O_NONBLOCK), 0);
  const std::string much(4096, '.');
  while (::write(ends[1], much.data(), much.size()) > 0) {
  }
  ASSERT_EQ(::fcntl(ends[1], F_SETFL, 0), 0);  // writing waits, as on most logs
  const auto guard = start({"gpio", "gpiochip7", "red,green"}, ends[1]);
  ASSERT_TRUE(guard->read(14).has_value());
  light(*guard);
  const std::int64_t now_ns = tests::monotonic_ns();
  guard->write(std::vector<std::uint8_t>(14, 0));
  expect_dark_and_exit(*guard, now_ns, 1);
  ::close(ends[0]);
  ::close(ends[1]);
}

// Its standard descriptors may be closed: then a line or a port would become one of them, and be written to.
TEST_F(GuardTest, ClosedStandardDescriptorsDoNotBecomeTheDevice) {
  gpio_.leave_high(kGreen);
  const std::string command = "exec " + kGuardProgram + " gpio gpiochip7 red,green 0<&- 1>&- 2>&-";
  Child guard({"/bin/sh", "-c", command});
  EXPECT_EQ(guard.ended(), 0);  // an end of file at once
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, ALineOfSomebodyElseIsNotTouched) {
  const auto first = lit();
  const auto second = start();
  EXPECT_EQ(second->ended(), 3);
  EXPECT_EQ(second->complaints(), "crestgate-guard: cannot open the device, or not switch it off\n");
  EXPECT_TRUE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, TheNextOneSwitchesOffWhatAKilledOneHasLeft) {
  {
    const auto guard = lit();
    guard->signal(SIGKILL);
    ASSERT_EQ(guard->ended(), -SIGKILL);
  }
  EXPECT_TRUE(gpio_.is_high(kGreen));  // as its head says: whatever was
  const auto next = started();
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, EndsWhenNobodySpeaksForFiveSeconds) {
  const auto guard = started();
  const auto begin = std::chrono::steady_clock::now();
  EXPECT_EQ(guard->ended(milliseconds(20'000)), 0);
  EXPECT_GE(std::chrono::steady_clock::now() - begin, milliseconds(4'900));
}

}  // namespace
}  // namespace crestgate::driver
