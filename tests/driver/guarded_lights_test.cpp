// SPDX-License-Identifier: Apache-2.0
// The daemon's side of the guard, with real processes that are killed and stopped. The times come from what the fakes
// of the devices have written down.
#include "driver/signal/guard/guarded_lights.h"

#include <array>
#include <cerrno>
#include <csignal>
#include <functional>
#include <memory>

#include <gtest/gtest.h>
#include <unistd.h>

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

constexpr double kPromisedMs = 500.0;
constexpr unsigned kGreen = 2;  // the line of the fake chip
const std::string kGuardName = "crestgate-guard";
const std::string kProgram = std::string(CRESTGATE_BINARY_DIR) + "/bin/crestgate-guard";
const std::string kDaemonSide = std::string(CRESTGATE_BINARY_DIR) + "/bin/guarded_lights_process";

// 0: none, or not only one.
pid_t guard_of(pid_t parent) {
  const auto found = tests::children_of(parent, kGuardName);
  return found.size() == 1 ? found[0].pid : 0;
}

// Never a 0, which would be this whole process group.
[[nodiscard]] bool signal_to(pid_t pid, int number) { return pid > 0 && ::kill(pid, number) == 0; }

// ---- one process per side ----

struct DeviceUnderTest {
  virtual ~DeviceUnderTest() = default;
  [[nodiscard]] virtual std::vector<std::string> words() = 0;
  [[nodiscard]] virtual bool is_lit() = 0;
  [[nodiscard]] virtual std::vector<tests::LightEntry> log() = 0;
  unsigned light = 0;
};

struct GpioUnderTest final : DeviceUnderTest {
  GpioUnderTest() { light = kGreen; }
  std::vector<std::string> words() override { return {"gpio", "gpiochip7", "red", "green"}; }
  bool is_lit() override { return gpio.is_high(kGreen); }
  std::vector<tests::LightEntry> log() override { return gpio.log(); }
  tests::FakeGpio gpio;
};

struct SerialUnderTest final : DeviceUnderTest {
  SerialUnderTest() { light = 1; }
  std::vector<std::string> words() override { return {"serial", box.path()}; }
  bool is_lit() override { return box.lights() == "01"; }
  std::vector<tests::LightEntry> log() override { return box.log(); }
  tests::RelayBox box{2};
};

template <class Made>
std::unique_ptr<DeviceUnderTest> make_under_test() {
  return std::make_unique<Made>();
}

struct Kind {
  const char* name;
  std::unique_ptr<DeviceUnderTest> (*make)();
};

class GuardedProcessTest : public ::testing::TestWithParam<Kind> {
 protected:
  std::unique_ptr<tests::Child> start() {
    std::vector<std::string> command{kDaemonSide, kProgram, "01"};
    for (const std::string& word : device_->words()) command.push_back(word);
    return std::make_unique<tests::Child>(command);
  }
  std::unique_ptr<tests::Child> lit() {
    auto daemon = start();
    EXPECT_TRUE(says(*daemon, "confirmed"));
    EXPECT_TRUE(eventually([&] { return device_->is_lit(); }));
    return daemon;
  }
  static bool says(const tests::Child& daemon, const std::string& begin) {
    for (int lines = 0; lines < 100; ++lines) {
      const std::string line = daemon.read_line();
      if (line.empty()) return false;
      if (line.starts_with(begin)) return true;
    }
    return false;
  }
  double dark_after_ms(std::int64_t since_ns) {
    EXPECT_TRUE(
        eventually([&] { return tests::dark_after_ms(device_->log(), device_->light, since_ns) >= 0.0; }));
    return tests::dark_after_ms(device_->log(), device_->light, since_ns);
  }
  std::unique_ptr<DeviceUnderTest> device_ = GetParam().make();
};

TEST_P(GuardedProcessTest, ADaemonThatIsKilledLeavesNothingLit) {
  const auto daemon = lit();
  const pid_t guard = guard_of(daemon->pid());
  ASSERT_GT(guard, 0);
  const std::int64_t now_ns = tests::monotonic_ns();
  daemon->signal(SIGKILL);
  EXPECT_LT(dark_after_ms(now_ns), kPromisedMs);
  EXPECT_TRUE(eventually([&] {
    const auto facts = tests::process_facts(guard);
    return facts.pid == 0 || facts.state == 'Z';  // whoever is to reap it may take its time
  }));
}

TEST_P(GuardedProcessTest, ADaemonThatIsStoppedLeavesNothingLitAndLightsAgainWhenItGoesOn) {
  const auto daemon = lit();
  const std::int64_t now_ns = tests::monotonic_ns();
  daemon->signal(SIGSTOP);
  EXPECT_LT(dark_after_ms(now_ns), kPromisedMs);
  daemon->signal(SIGCONT);
  EXPECT_TRUE(eventually([&] { return device_->is_lit(); }));
}

TEST_P(GuardedProcessTest, AGuardThatIsKilledIsReplacedByOneThatBeginsWithOff) {
  const auto daemon = lit();
  const pid_t guard = guard_of(daemon->pid());
  const std::int64_t now_ns = tests::monotonic_ns();
  ASSERT_TRUE(signal_to(guard, SIGKILL));
  EXPECT_LT(dark_after_ms(now_ns), kPromisedMs);
  EXPECT_TRUE(says(*daemon, "error"));
  EXPECT_TRUE(says(*daemon, "confirmed"));
  EXPECT_TRUE(eventually([&] { return device_->is_lit(); }));
  EXPECT_NE(guard_of(daemon->pid()), guard);
}

// A stopped guard drops nothing. It is noticed after 400 ms, killed, and replaced 200 ms later; 50 ms of the refresh
// go to noticing and 50 ms to starting: 700 ms, and 300 ms for a machine with something else to do.
TEST_P(GuardedProcessTest, AGuardThatIsStoppedIsKilledAndReplaced) {
  const auto daemon = lit();
  const pid_t guard = guard_of(daemon->pid());
  const std::int64_t now_ns = tests::monotonic_ns();
  ASSERT_TRUE(signal_to(guard, SIGSTOP));
  EXPECT_TRUE(says(*daemon, "error"));
  EXPECT_LT(dark_after_ms(now_ns), 1000.0);
  EXPECT_TRUE(says(*daemon, "confirmed"));
  EXPECT_EQ(tests::process_facts(guard).pid, 0);
}

TEST_P(GuardedProcessTest, AfterBothWereKilledTheNextStartSwitchesOff) {
  {
    const auto daemon = lit();
    const pid_t guard = guard_of(daemon->pid());
    ASSERT_TRUE(signal_to(guard, SIGSTOP));
    daemon->signal(SIGKILL);
    ASSERT_TRUE(signal_to(guard, SIGKILL));
    EXPECT_EQ(daemon->ended(), -SIGKILL);
  }
  EXPECT_TRUE(device_->is_lit());  // nobody was left
  const std::int64_t now_ns = tests::monotonic_ns();
  const auto next = start();
  EXPECT_GE(dark_after_ms(now_ns), 0.0);
  EXPECT_TRUE(says(*next, "confirmed"));
}

TEST_P(GuardedProcessTest, ADaemonThatStopsLeavesNothingLitAndNoChild) {
  const auto daemon = lit();
  const pid_t guard = guard_of(daemon->pid());
  const std::int64_t now_ns = tests::monotonic_ns();
  daemon->signal(SIGTERM);
  EXPECT_TRUE(says(*daemon, "stopped"));
  EXPECT_LT(dark_after_ms(now_ns), kPromisedMs);
  EXPECT_EQ(daemon->ended(), 0);
  EXPECT_EQ(tests::process_facts(guard).pid, 0);
}

TEST_P(GuardedProcessTest, TheGuardHasASessionOfItsOwnAndNothingOfOurs) {
  const auto daemon = lit();
  const pid_t guard = guard_of(daemon->pid());
  EXPECT_EQ(tests::process_facts(guard).session, guard);
  std::vector<std::string> open;
  for (const auto& entry : std::filesystem::directory_iterator("/proc/" + std::to_string(guard) + "/fd")) {
    std::error_code gone;
    open.push_back(std::filesystem::read_symlink(entry.path(), gone));
  }
  const auto count = [&](const std::string& begin) {
    return std::count_if(open.begin(), open.end(),
                         [&](const std::string& to) { return to.starts_with(begin); });
  };
  EXPECT_EQ(count("socket:"), 2);      // the channel
  EXPECT_EQ(count("/etc/passwd"), 0);  // which the daemon's side had open for all to inherit
}

INSTANTIATE_TEST_SUITE_P(Devices, GuardedProcessTest,
                         ::testing::Values(Kind{"gpio", make_under_test<GpioUnderTest>},
                                           Kind{"serial", make_under_test<SerialUnderTest>}),
                         [](const auto& tested) { return std::string(tested.param.name); });

// ---- the daemon's side in the test itself ----

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
