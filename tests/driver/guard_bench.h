// SPDX-License-Identifier: Apache-2.0
#pragma once
// The guard itself, with the test in the place of its daemon. Digital lines are those of support/fake_gpiod; they hold
// their last state and write down when it changed.

#include <cstdint>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "support/child.h"
#include "support/fake_gpio.h"
#include "support/guard_bytes.h"
#include "support/light_log.h"

namespace crestgate::driver {

using tests::Child;
using tests::guard_bytes;
using tests::stamp_now_ms;

// What is promised. The guard's lease is 300 ms of it; the rest is for a machine that has something else to do.
constexpr double kPromisedMs = 500.0;
constexpr unsigned kGreen = 2;  // the line of the fake chip
inline const std::string kGuardProgram = std::string(CRESTGATE_BINARY_DIR) + "/bin/crestgate-guard";

class GuardTest : public ::testing::Test {
 protected:
  std::unique_ptr<Child> start(std::vector<std::string> words = {"gpio", "gpiochip7", "red,green"},
                               int stderr_fd = -1) {
    words.insert(words.begin(), kGuardProgram);
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

}  // namespace crestgate::driver
