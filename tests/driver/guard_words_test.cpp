// SPDX-License-Identifier: Apache-2.0
// What the guard is told on its command line, and the devices that it finds or does not.
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

}  // namespace
}  // namespace crestgate::driver
