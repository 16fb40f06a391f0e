// SPDX-License-Identifier: Apache-2.0
// The guard itself, with the test in the place of its daemon. Digital lines are those of support/fake_gpiod, a serial
// device is the box of support/relay_box.py; both hold their last state and write down when it changed.
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

#include "driver/signal/guard/guard_frame.h"
#include "support/child.h"
#include "support/fake_gpio.h"
#include "support/guard_bytes.h"
#include "support/processes.h"
#include "support/relay_box.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using tests::Child;
using tests::eventually;
using tests::guard_bytes;
using tests::guard_wants;
using tests::stamp_now_ms;

// What is promised. The guard's lease is 300 ms of it; the rest is for a machine that has something else to do.
constexpr double kPromisedMs = 500.0;
constexpr unsigned kGreen = 2;  // the line of the fake chip
const std::string kProgram = std::string(CRESTGATE_BINARY_DIR) + "/bin/crestgate-guard";

TEST(GuardFrame, IsAsItsPageSays) {
  const GuardFrame frame{GuardSays::kSet, 0x8001, 0x12345678};
  const GuardBytes bytes = write_guard_frame(frame);
  const GuardBytes expected{'S',  0x01, 0x80, 0x78, 0x56, 0x34, 0x12,
                            0xAC, 0xFE, 0x7F, 0x87, 0xA9, 0xCB, 0xED};
  EXPECT_EQ(bytes, expected);
  GuardFrame back;
  ASSERT_TRUE(read_guard_frame(bytes, back));
  EXPECT_EQ(back.kind, GuardSays::kSet);
  EXPECT_EQ(back.lights, 0x8001);
  EXPECT_EQ(back.stamp_ms, 0x12345678U);
}

TEST(GuardFrame, EverySingleBitFlipIsNoticed) {
  GuardBytes bytes = write_guard_frame({GuardSays::kAre, 0x0102, 77});
  for (std::uint8_t& byte : bytes) {
    for (unsigned bit = 0; bit < 8; ++bit) {
      byte = static_cast<std::uint8_t>(byte ^ (1U << bit));
      GuardFrame frame;
      EXPECT_FALSE(read_guard_frame(bytes, frame));
      byte = static_cast<std::uint8_t>(byte ^ (1U << bit));
    }
  }
}

class GuardTest : public ::testing::Test {
 protected:
  std::unique_ptr<Child> start(std::vector<std::string> words = {"gpio", "gpiochip7", "red,green"},
                               int stderr_fd = -1) {
    words.insert(words.begin(), kProgram);
    return std::make_unique<Child>(words, stderr_fd);
  }
  // A guard that has said that all is off.
  std::unique_ptr<Child> started(std::vector<std::string> words = {"gpio", "gpiochip7", "red,green"}) {
    auto guard = start(std::move(words));
    const auto first = guard->read(14);
    EXPECT_TRUE(first.has_value()) << guard->complaints();
    if (first) {
      EXPECT_EQ((*first)[0], 'A');
      EXPECT_EQ((*first)[1] | (*first)[2], 0);
    }
    return guard;
  }
  // One whose second light is on.
  std::unique_ptr<Child> lit(std::vector<std::string> words = {"gpio", "gpiochip7", "red,green"}) {
    auto guard = started(std::move(words));
    light(*guard);
    return guard;
  }
  void light(const Child& guard) {
    const std::uint32_t stamp = stamp_now_ms();
    guard.write(guard_bytes('S', 2, stamp));
    EXPECT_EQ(guard.read(14), guard_bytes('A', 2, stamp)) << guard.complaints();
  }
  void expect_dark_and_exit(Child& guard, std::int64_t since_ns, int code) {
    EXPECT_EQ(guard.ended(), code) << guard.complaints();
    EXPECT_FALSE(gpio_.is_high(kGreen));
    const double dark_ms = tests::dark_after_ms(gpio_.log(), kGreen, since_ns);
    EXPECT_GE(dark_ms, 0.0);
    EXPECT_LT(dark_ms, kPromisedMs);
  }
  tests::FakeGpio gpio_;
};

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
  const std::string command = "exec " + kProgram + " gpio gpiochip7 red,green 0<&- 1>&- 2>&-";
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

TEST_F(GuardTest, WrongWordsTouchNothing) {
  gpio_.leave_high(kGreen);
  const std::vector<std::vector<std::string>> wrong{
      {},
      {"off"},
      {"gpio"},
      {"gpio", "gpiochip7"},
      {"gpio", "gpiochip7", ""},
      {"gpio", "gpiochip7", "red,"},
      {"gpio", "gpiochip7", "red,!"},
      {"gpio", "gpiochip7", "green", "pull"},
      {"gpio", "gpiochip7", "green", "pull-up", "more"},
      {"gpio", "gpiochip7", "1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17"},
      {"serial"},
      {"serial", "/dev/null"},
      {"serial", "/dev/null", "9600"},
      {"serial", "/dev/null", "9600", "4f"},
      {"serial", "/dev/null", "9600", "4f:"},
      {"serial", "/dev/null", "9600", ":4f"},
      {"serial", "/dev/null", "9600", "4:4f"},
      {"serial", "/dev/null", "9600", "4f:4g"},
      {"serial", "/dev/null", "9600x", "4f:4e"},
      {"serial", "/dev/null", "9600", "first=", "4f:4e"},
      {"serial", "/dev/null", "9600", "first=4f"},
      {"relay", "gpiochip7", "green"}};
  for (const auto& words : wrong) {
    const auto guard = start(words);
    EXPECT_EQ(guard->ended(), 2) << (words.empty() ? "" : words.back());
    EXPECT_NE(guard->complaints().find("usage: crestgate-guard"), std::string::npos);
  }
  EXPECT_TRUE(gpio_.is_high(kGreen));
  EXPECT_TRUE(gpio_.log().empty());
}

TEST_F(GuardTest, ADeviceThatIsNotThereIsAnEndOfItsOwn) {
  for (const std::vector<std::string>& words :
       std::vector<std::vector<std::string>>{{"gpio", "gpiochip9", "green"},
                                             {"gpio", "gpiochip7", "blue"},
                                             {"gpio", "gpiochip7", "9"},
                                             {"gpio", "gpiochip7", "twin"},
                                             {"gpio", "/dev/null", "1"},
                                             {"serial", "/dev/tty_not_there", "9600", "4f:4e"},
                                             {"serial", "/dev/null", "9600", "4f:4e"},
                                             {"serial", "/dev/ptmx", "1234", "4f:4e"}}) {
    const auto guard = start(words);
    EXPECT_EQ(guard->ended(), 3) << words[1];
  }
}

TEST_F(GuardTest, FindsChipsAndLinesInEveryWay) {
  for (const std::string& chip : {std::string("gpiochip7"), std::string("fake-lamps"), gpio_.chip_path()}) {
    for (const char* lines : {"red,green", "1,2", "1,green"}) {
      for (const char* pull : {"pull-up", "pull-down", "no-pull"}) {
        const auto guard = lit({"gpio", chip, lines, pull});
        EXPECT_TRUE(gpio_.is_high(kGreen));
      }
    }
  }
}

TEST_F(GuardTest, ALineThatIsActiveLowIsOffWhenThePinIsHigh) {
  const auto guard = started({"gpio", "gpiochip7", "red,!green"});
  EXPECT_TRUE(gpio_.is_high(kGreen));
  EXPECT_FALSE(gpio_.is_high(1));
  light(*guard);
  EXPECT_FALSE(gpio_.is_high(kGreen));
  guard->close_channel();
  EXPECT_EQ(guard->ended(), 0);
  EXPECT_TRUE(gpio_.is_high(kGreen));
}

TEST_F(GuardTest, OffSwitchesOffAndEnds) {
  gpio_.leave_high(kGreen);
  const auto guard = start({"off", "gpio", "gpiochip7", "red,green"});
  EXPECT_EQ(guard->ended(), 0);
  EXPECT_FALSE(gpio_.is_high(kGreen));
  EXPECT_FALSE(guard->read(1).has_value());  // no frames: its stdout is a log
}

TEST_F(GuardTest, OffWaitsUntilItSucceedsAndCanBeEnded) {
  const auto holder = lit();
  const auto off = start({"off", "gpio", "gpiochip7", "red,green"});
  EXPECT_FALSE(off->ended(milliseconds(150)).has_value());
  EXPECT_EQ(off->complaints(), "crestgate-guard: cannot switch the lights off; trying again every 50 ms\n");
  holder->signal(SIGKILL);
  EXPECT_EQ(off->ended(), 0);
  EXPECT_FALSE(gpio_.is_high(kGreen));
  const auto next = lit();
  const auto second = start({"off", "gpio", "gpiochip7", "red,green"});
  EXPECT_FALSE(second->ended(milliseconds(100)).has_value());
  second->signal(SIGTERM);
  EXPECT_EQ(second->ended(), -SIGTERM);
}

// ---- on a serial port ----

class SerialGuardTest : public GuardTest {
 protected:
  [[nodiscard]] std::vector<std::string> words() const {
    std::vector<std::string> all{"serial", box_.path(), "9600", "first=48454c4c4f0d0a"};  // HELLO
    for (const char* lamp : {"30", "31", "32"}) {  // LAMP n 1 and LAMP n 0
      const std::string begin = "4c414d5020" + std::string(lamp) + "20";
      all.push_back(begin + "310d0a:" + begin + "300d0a");
    }
    return all;
  }
  void expect_box_dark(std::int64_t since_ns, double limit_ms = kPromisedMs) {
    ASSERT_TRUE(eventually([&] { return box_.lights() == "000"; }));
    const double dark_ms = tests::dark_after_ms(box_.log(), 1, since_ns);
    EXPECT_GE(dark_ms, 0.0);
    EXPECT_LT(dark_ms, limit_ms);
  }
  tests::RelayBox box_{3};
};

TEST_F(SerialGuardTest, BeginsWithTheFirstCommandAndEverythingOffTwice) {
  const auto guard = started(words());
  EXPECT_TRUE(eventually(
      [&] { return box_.tell("heard") == "HELLO|LAMP 0 0|LAMP 1 0|LAMP 2 0|LAMP 0 0|LAMP 1 0|LAMP 2 0"; }));
}

TEST_F(SerialGuardTest, ALapseTheEndASignalAndADamagedFrameDropAll) {
  for (const int how : {0, 1, 2, 3}) {
    SCOPED_TRACE("way " + std::to_string(how));
    const auto guard = started(words());
    const std::int64_t told_ns = tests::monotonic_ns();
    light(*guard);
    ASSERT_TRUE(eventually([&] { return box_.lights() == "010"; }));
    if (how == 1) guard->close_channel();
    if (how == 2) guard->signal(SIGTERM);
    if (how == 3) guard->write(std::vector<std::uint8_t>(14, 0));
    expect_box_dark(told_ns);
    if (how > 0) {
      EXPECT_EQ(guard->ended(), how == 3 ? 1 : 0);
    }
  }
}

TEST_F(SerialGuardTest, AnUnchangedWishIsNotSentAgain) {
  const auto guard = lit(words());
  ASSERT_TRUE(eventually([&] { return box_.lights() == "010"; }));
  const std::string before = box_.tell("heard");
  for (int turn = 0; turn < 20; ++turn) light(*guard);
  EXPECT_EQ(box_.tell("heard"), before);
}

// Pulled while it is lit: nobody can switch it off until it is back, and then it is.
TEST_F(SerialGuardTest, APulledPortIsSwitchedOffWhenItIsBack) {
  const auto guard = lit(words());
  ASSERT_TRUE(eventually([&] { return box_.lights() == "010"; }));
  box_.tell("unplug");
  EXPECT_EQ((*guard->read(14))[0], 'F');
  guard->close_channel();
  EXPECT_FALSE(guard->ended(milliseconds(300)).has_value());
  const std::int64_t back_ns = tests::monotonic_ns();
  box_.tell("plug");
  expect_box_dark(back_ns);
  EXPECT_EQ(guard->ended(), 1);
}

TEST_F(SerialGuardTest, APortThatAnotherProgramHasLockedIsNotWrittenTo) {
  const auto first = lit(words());
  ASSERT_TRUE(eventually([&] { return box_.lights() == "010"; }));
  const std::string before = box_.tell("heard");
  const auto second = start(words());
  EXPECT_EQ(second->ended(), 3);
  const auto off = [&] {
    auto with_off = words();
    with_off.insert(with_off.begin(), "off");
    return start(with_off);
  }();
  EXPECT_FALSE(off->ended(milliseconds(150)).has_value());
  EXPECT_EQ(box_.tell("heard").rfind(before, 0), 0U);
  EXPECT_EQ(box_.tell("heard").find("HELLO", 1), std::string::npos);
}

TEST_F(SerialGuardTest, OffSwitchesOffAndEnds) {
  {
    const auto guard = lit(words());
    ASSERT_TRUE(eventually([&] { return box_.lights() == "010"; }));
    guard->signal(SIGKILL);
    EXPECT_EQ(guard->ended(), -SIGKILL);
  }
  EXPECT_EQ(box_.lights(), "010");
  auto with_off = words();
  with_off.insert(with_off.begin(), "off");
  const auto off = start(with_off);
  EXPECT_EQ(off->ended(), 0);
  EXPECT_TRUE(eventually([&] { return box_.lights() == "000"; }));
}

}  // namespace
}  // namespace crestgate::driver
