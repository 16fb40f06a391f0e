// SPDX-License-Identifier: Apache-2.0
// The daemon's side of the guard in the test itself. The times come from what the fakes
// of the devices have written down.
#include "driver/signal/guard/guarded_lights.h"

#include <array>
#include <cerrno>
#include <csignal>
#include <functional>
#include <memory>

#include <gtest/gtest.h>
#include <unistd.h>

#include "driver/guarded_bench.h"
#include "support/child.h"
#include "support/fake_gpio.h"
#include "support/open_descriptors.h"
#include "support/processes.h"
#include "support/relay_box.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;
using tests::eventually;

constexpr unsigned kGreen = 2;  // the line of the fake chip

class GuardedLightsTest : public ::testing::Test {
 protected:
  void open(const std::string& program = kProgram,
            GpioLightsOptions gpio = {.chip = "gpiochip7", .lines = {{"red", false}, {"green", false}}}) {
    auto device = make_guarded_lights({.device = std::move(gpio), .program = program});
    ASSERT_TRUE(device.has_value()) << device.error().detail;
    device_ = *std::move(device);
  }
  // Sets every 10 ms until `done`.
  bool refresh_until(std::array<bool, 2> lit, const std::function<bool()>& done) {
    const auto limit = Clock::now() + std::chrono::seconds(15);
    while (Clock::now() < limit) {
      last_ = device_->set(lit);
      if (done()) return true;
      std::this_thread::sleep_for(milliseconds(10));
    }
    return false;
  }
  bool confirmed(std::array<bool, 2> lit) {
    return refresh_until(lit, [&] { return last_ && *last_ == Applied::kConfirmed; });
  }
  static std::size_t children() { return tests::children_of(::getpid(), kGuardName).size(); }
  tests::FakeGpio gpio_;
  std::unique_ptr<LightDevice> device_;
  base::Result<Applied> last_ = Applied::kSent;
};

constexpr std::array kDark{false, false};
constexpr std::array kGreenOnly{false, true};

TEST_F(GuardedLightsTest, SaysWhatItIs) {
  open();
  EXPECT_EQ(device_->name(), "guarded digital lines of gpiochip7");
  EXPECT_EQ(device_->light_count(), 2U);
  EXPECT_TRUE(device_->falls_by_itself().falls);
  EXPECT_EQ(device_->falls_by_itself().sentence, "a guard process drops it within 500 ms");
}

TEST_F(GuardedLightsTest, IsBusyUntilTheGuardHasSaidThatAllIsOffAndConfirmsWhatIsAnswered) {
  gpio_.leave_high(kGreen);
  open();
  EXPECT_EQ(device_->set(kDark).error().code, ErrorCode::kBusy);
  EXPECT_TRUE(refresh_until(kGreenOnly, [&] { return last_.has_value(); }));
  EXPECT_EQ(*last_, Applied::kSent);
  EXPECT_TRUE(confirmed(kDark));
  EXPECT_FALSE(gpio_.is_high(kGreen));
  EXPECT_TRUE(confirmed(kGreenOnly));
  EXPECT_TRUE(gpio_.is_high(kGreen));
  EXPECT_EQ(*device_->set(kDark), Applied::kSent);  // a change is no trouble
  EXPECT_TRUE(confirmed(kDark));
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

// The green is under way when it is taken back: the dark of a moment ago is no answer to that.
TEST_F(GuardedLightsTest, AnAnswerFromBeforeTheLastChangeConfirmsNothing) {
  open();
  for (int turn = 0; turn < 20; ++turn) {
    EXPECT_TRUE(confirmed(kDark));
    EXPECT_EQ(*device_->set(kGreenOnly), Applied::kSent);
    EXPECT_EQ(*device_->set(kDark), Applied::kSent);
    EXPECT_TRUE(confirmed(kDark));
    EXPECT_FALSE(gpio_.is_high(kGreen));
  }
}

TEST_F(GuardedLightsTest, AnOldAnswerConfirmsNothing) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  ASSERT_TRUE(eventually([&] { return !gpio_.is_high(kGreen); }));  // the lease ran out
  EXPECT_EQ(*device_->set(kGreenOnly), Applied::kSent);
  EXPECT_TRUE(confirmed(kGreenOnly));
}

TEST_F(GuardedLightsTest, StopLeavesNothingLitNoChildAndNoDescriptor) {
  const std::size_t before = tests::open_descriptors();
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  EXPECT_EQ(children(), 1U);
  const auto begin = Clock::now();
  device_->stop();
  EXPECT_LT(Clock::now() - begin, milliseconds(500));
  EXPECT_FALSE(gpio_.is_high(kGreen));
  EXPECT_EQ(children(), 0U);
  EXPECT_EQ(tests::open_descriptors(), before);
  EXPECT_EQ(device_->set(kGreenOnly).error().code, ErrorCode::kCancelled);
}

TEST_F(GuardedLightsTest, StopDoesNotWaitForAGuardThatHangs) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  const pid_t guard = guard_of(::getpid());
  ASSERT_TRUE(signal_to(guard, SIGSTOP));
  const auto begin = Clock::now();
  device_->stop();
  EXPECT_LT(Clock::now() - begin, milliseconds(700));
  EXPECT_TRUE(eventually([&] { return children() == 0; }));
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardedLightsTest, StopSwitchesOffWhatAGuardHasLeftThatDiedAMomentBefore) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  ASSERT_TRUE(signal_to(guard_of(::getpid()), SIGKILL));
  device_->stop();
  EXPECT_TRUE(eventually([&] { return !gpio_.is_high(kGreen); }));
  EXPECT_TRUE(eventually([&] { return children() == 0; }));
}

TEST_F(GuardedLightsTest, StopSwitchesOffWhatAGuardHasLeftThatIsNotReplacedYet) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  ASSERT_TRUE(signal_to(guard_of(::getpid()), SIGKILL));
  EXPECT_TRUE(refresh_until(kDark, [&] { return !last_.has_value(); }));
  device_->stop();
  EXPECT_TRUE(eventually([&] { return !gpio_.is_high(kGreen); }));
  EXPECT_TRUE(eventually([&] { return children() == 0; }));
}

TEST_F(GuardedLightsTest, AGuardThatCannotSwitchOffIsReportedAndLeftToItWhenWeStop) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  gpio_.set_faults("set " + std::to_string(EIO) + "\nrequest " + std::to_string(EIO));
  EXPECT_TRUE(refresh_until(kDark, [&] { return !last_ && last_.error().code == ErrorCode::kIo; }));
  EXPECT_EQ(last_.error().detail,
            "guarded digital lines of gpiochip7: the guard cannot switch the lights off; it tries again "
            "every 50 ms. "
            "Look at the device");
  const pid_t guard = guard_of(::getpid());
  // For a good while: it is alive and says so, so it is not replaced.
  const auto until = Clock::now() + milliseconds(900);
  EXPECT_TRUE(refresh_until(kDark, [&] { return Clock::now() > until; }));
  EXPECT_EQ(guard_of(::getpid()), guard);
  device_->stop();
  EXPECT_EQ(guard_of(::getpid()), guard);
  EXPECT_TRUE(gpio_.is_high(kGreen));
  gpio_.set_faults("");
  EXPECT_TRUE(eventually([&] { return !gpio_.is_high(kGreen); }));
  EXPECT_TRUE(eventually([&] { return children() == 0; }));  // reaped, though nobody asks any more
}

TEST_F(GuardedLightsTest, WhenTheDeviceIsMendedItGoesOn) {
  open();
  EXPECT_TRUE(confirmed(kGreenOnly));
  gpio_.set_faults("set " + std::to_string(EIO) + "\nrequest " + std::to_string(EIO));
  EXPECT_TRUE(refresh_until(kDark, [&] { return !last_ && last_.error().code == ErrorCode::kIo; }));
  gpio_.set_faults("");
  EXPECT_TRUE(confirmed(kGreenOnly));
}

// A line that is shorted: each try lights the others for a moment.
TEST_F(GuardedLightsTest, AFaultThatComesBackMakesNoFlicker) {
  open();
  EXPECT_TRUE(confirmed(kDark));
  gpio_.set_faults("stuck 2 0");
  const auto until = Clock::now() + milliseconds(2500);
  EXPECT_TRUE(refresh_until(std::array{true, true}, [&] { return Clock::now() > until; }));
  EXPECT_FALSE(last_.has_value());
  const auto log = gpio_.log();
  const auto lit = std::count_if(log.begin(), log.end(), [](const tests::LightEntry& entry) {
    return entry.light == 1 && entry.is && !entry.was;
  });
  EXPECT_GE(lit, 2);
  EXPECT_LE(lit, 3);  // at 0, 1 and 2 s and a little
  gpio_.set_faults("");
  EXPECT_TRUE(confirmed(kGreenOnly));
}

TEST_F(GuardedLightsTest, WhyAGuardEndedStandsInTheError) {
  open(kProgram, {.chip = "gpiochip9", .lines = {{"1", false}, {"2", false}}});
  EXPECT_TRUE(refresh_until(kDark, [&] {
    return !last_ && last_.error().detail.find("exit 3: it could not open the device") != std::string::npos;
  })) << last_.error().detail;
  EXPECT_EQ(last_.error().code, ErrorCode::kDisconnected);
  device_->stop();
  EXPECT_EQ(children(), 0U);  // nothing was lit: nobody is left to switch it off
}

TEST_F(GuardedLightsTest, AGuardThatEndsAtOnceIsNotStartedMoreThanOnceASecond) {
  open(kProgram, {.chip = "gpiochip9", .lines = {{"1", false}, {"2", false}}});
  std::vector<pid_t> seen;
  const auto until = Clock::now() + milliseconds(2900);
  EXPECT_TRUE(refresh_until(kDark, [&] {
    const pid_t guard = guard_of(::getpid());
    if (guard != 0 && (seen.empty() || seen.back() != guard)) seen.push_back(guard);
    return Clock::now() > until;
  }));
  EXPECT_GE(seen.size(), 3U);  // at 0, 0.2, 1.2 and 2.2 s
  EXPECT_LE(seen.size(), 4U);
}

TEST_F(GuardedLightsTest, AMissingProgramIsSaidInPlainWords) {
  open("/opt/not/there/crestgate-guard");
  const auto set = device_->set(kDark);
  EXPECT_EQ(set.error().code, ErrorCode::kNotFound);
  EXPECT_EQ(
      set.error().detail,
      "guarded digital lines of gpiochip7: there is no guard program at /opt/not/there/crestgate-guard");
  open("/etc/passwd");
  EXPECT_EQ(device_->set(kDark).error().code, ErrorCode::kRefused);
}

TEST_F(GuardedLightsTest, TheProgramBesideOursIsTheDefault) {
  open("");
  EXPECT_TRUE(confirmed(kGreenOnly));
}

// Something else answers in the guard's place.
TEST_F(GuardedLightsTest, AProgramThatIsNoGuardLightsNothing) {
  open("/bin/cat");  // ends: there is no such file as "gpio"
  EXPECT_TRUE(
      refresh_until(kGreenOnly, [&] { return !last_ && last_.error().code == ErrorCode::kDisconnected; }));
  open("/bin/true");
  EXPECT_TRUE(
      refresh_until(kGreenOnly, [&] { return !last_ && last_.error().code == ErrorCode::kDisconnected; }));
  open("/bin/echo");
  EXPECT_TRUE(
      refresh_until(kGreenOnly, [&] { return !last_ && last_.error().code == ErrorCode::kDisconnected; }));
  EXPECT_FALSE(gpio_.is_high(kGreen));
}

TEST_F(GuardedLightsTest, HangUpsAndDeathsLeaveNoDescriptorBehind) {
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 5; ++turn) {
    open();
    EXPECT_TRUE(confirmed(kGreenOnly));
    const pid_t guard = guard_of(::getpid());
    ASSERT_TRUE(signal_to(guard, SIGKILL));
    EXPECT_TRUE(refresh_until(kDark, [&] { return !last_.has_value(); }));
    device_.reset();
    EXPECT_EQ(tests::open_descriptors(), before);
    EXPECT_TRUE(eventually([&] { return children() == 0; }));
  }
}

TEST(GuardWords, AreThoseOfItsPage) {
  GuardOptions gpio{.device = GpioLightsOptions{.chip = "/dev/gpiochip0",
                                                .lines = {{"17", false}, {"green", true}},
                                                .bias = LineBias::kPullDown},
                    .program = ""};
  EXPECT_EQ(guard_words(gpio, ""),
            (std::vector<std::string>{"gpio", "/dev/gpiochip0", "17,!green", "pull-down"}));
  RelayDialect dialect;
  dialect.name = "tower";
  dialect.serial = {.baud = 19200, .parity = Parity::kEven};
  dialect.line_end = "\r";
  dialect.reset = {"HI"};
  dialect.lights = {{.on = "ON", .off = "OFF", .reply = ""}};
  const GuardOptions serial{.device = GuardedRelay{.port = {"usb:1:2:3"}, .dialect = dialect}, .program = ""};
  EXPECT_EQ(
      guard_words(serial, "/dev/ttyUSB0"),
      (std::vector<std::string>{"serial", "/dev/ttyUSB0", "19200e", "first=48490d", "4f4e0d:4f46460d"}));
}

TEST(GuardWords, WhatTheGuardCannotServeIsRefused) {
  RelayDialect dialect;
  dialect.name = "tower";
  dialect.lights = {{.on = "ON", .off = "OFF", .reply = ""}};
  const auto refusal = [&](const std::function<void(RelayDialect&)>& change) {
    RelayDialect changed = dialect;
    change(changed);
    const auto checked = check_guarded_lights(
        {.device = GuardedRelay{.port = {"/dev/ttyUSB0"}, .dialect = changed}, .program = ""});
    return checked ? std::string() : checked.error().detail;
  };
  EXPECT_EQ(refusal([](RelayDialect&) {}), "");
  EXPECT_NE(refusal([](RelayDialect& d) { d.serial.two_stop_bits = true; }), "");
  EXPECT_NE(refusal([](RelayDialect& d) { d.serial.rts_cts = true; }), "");
  EXPECT_NE(refusal([](RelayDialect& d) { d.reset = {"A", "B"}; }), "");
  EXPECT_NE(refusal([](RelayDialect& d) { d.lights[0].on = std::string(63, 'x'); }), "");
  EXPECT_EQ(refusal([](RelayDialect& d) { d.lights[0].on = std::string(62, 'x'); }), "");
  EXPECT_NE(refusal([](RelayDialect& d) { d.lights.clear(); }), "");
  for (const char* line : {"a,b", "!a", ""})
    EXPECT_FALSE(check_guarded_lights(
        {.device = GpioLightsOptions{.chip = "c", .lines = {{line, false}}}, .program = ""}));
}

}  // namespace
}  // namespace crestgate::driver
