// SPDX-License-Identifier: Apache-2.0
// Daemon and guard as two processes that are killed and stopped. The times come from what the fakes
// of the devices have written down.
#include <array>
#include <cerrno>
#include <csignal>
#include <functional>
#include <memory>

#include <gtest/gtest.h>
#include <unistd.h>

#include "driver/guarded_bench.h"
#include "driver/signal/guard/guarded_lights.h"
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
const std::string kDaemonSide = std::string(CRESTGATE_BINARY_DIR) + "/bin/guarded_lights_process";

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

}  // namespace
}  // namespace crestgate::driver
