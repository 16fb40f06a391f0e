// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/guard/guard_frame.h"

#include <gtest/gtest.h>

namespace crestgate::driver {
namespace {

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

}  // namespace
}  // namespace crestgate::driver
