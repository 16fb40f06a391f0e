// SPDX-License-Identifier: Apache-2.0
// The rule: one PLC holds the line, by its address; modbus_server.h, "The line".

#include "driver/signal/modbus/line_holder.h"

#include <gtest/gtest.h>

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;

LineHolder::Time at(milliseconds since) { return LineHolder::Time(seconds(1000)) + since; }

LineHolder line_of(std::vector<std::string> allowed = {}) {
  LineRules rules;
  rules.allowed_writers = std::move(allowed);
  LineHolder line(rules);
  line.came(1, "10.0.0.2");
  line.came(2, "10.0.0.3");
  line.came(3, "10.0.0.2");
  return line;
}

TEST(LineHolder, TheFirstWriterHoldsTheLine) {
  LineHolder line = line_of();
  EXPECT_EQ(line.claim(1, at(milliseconds(0))), Claim::kGranted);
  EXPECT_EQ(line.claim(2, at(milliseconds(1))), Claim::kOtherHolds);
  EXPECT_EQ(line.claim(1, at(milliseconds(2))), Claim::kGranted);
  EXPECT_EQ(line.writer(at(milliseconds(2))), 1U);
}

TEST(LineHolder, SilenceOfMoreThanFiveSecondsFreesTheLine) {
  LineHolder line = line_of();
  ASSERT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
  EXPECT_EQ(line.claim(2, at(seconds(5))), Claim::kOtherHolds);
  EXPECT_EQ(line.claim(2, at(milliseconds(5001))), Claim::kGranted);
  EXPECT_EQ(line.claim(1, at(milliseconds(5002))), Claim::kOtherHolds);
}

TEST(LineHolder, ARefusedWriteDoesNotKeepTheHolderAlive) {
  LineHolder line = line_of();
  ASSERT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
  for (int s = 1; s <= 5; ++s) EXPECT_EQ(line.claim(2, at(seconds(s))), Claim::kOtherHolds);
  EXPECT_EQ(line.claim(2, at(milliseconds(5100))), Claim::kGranted);
}

TEST(LineHolder, TheLastConnectionThatLeavesFreesTheLine) {
  LineHolder line = line_of();
  ASSERT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
  line.left(1);
  EXPECT_EQ(line.claim(2, at(seconds(1))), Claim::kOtherHolds);  // connection 3 is still there
  line.left(3);
  EXPECT_EQ(line.claim(2, at(seconds(1))), Claim::kGranted);
}

TEST(LineHolder, AllConnectionsOfAnAddressAreOnePlc) {
  LineHolder line = line_of();
  ASSERT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
  EXPECT_EQ(line.claim(3, at(seconds(0))), Claim::kGranted);
  EXPECT_EQ(line.claim(1, at(seconds(1))), Claim::kGranted);
  EXPECT_FALSE(line.contested(at(seconds(1))));
  line.left(1);
  EXPECT_EQ(line.claim(2, at(seconds(2))), Claim::kOtherHolds);  // connection 3 is still there
}

TEST(LineHolder, AnAttemptIsToldForFiveSeconds) {
  LineHolder line = line_of();
  EXPECT_FALSE(line.contested(at(seconds(0))));
  ASSERT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
  ASSERT_EQ(line.claim(2, at(seconds(1))), Claim::kOtherHolds);
  EXPECT_TRUE(line.contested(at(milliseconds(5999))));
  EXPECT_EQ(line.contest_ends(), at(seconds(6)));
  EXPECT_FALSE(line.contested(at(seconds(6))));
}

TEST(LineHolder, OnlyAllowedWritersWriteEvenOnAFreeLine) {
  LineHolder line = line_of({"10.0.0.2"});
  EXPECT_EQ(line.claim(2, at(seconds(0))), Claim::kNotAllowed);
  EXPECT_TRUE(line.contested(at(seconds(0))));
  EXPECT_EQ(line.writer(at(seconds(0))), 0U);
  EXPECT_EQ(line.claim(1, at(seconds(0))), Claim::kGranted);
}

}  // namespace
}  // namespace crestgate::driver
