// SPDX-License-Identifier: Apache-2.0
// The guard in front of a relay box on a serial port: support/relay_box.py holds its last state.
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
