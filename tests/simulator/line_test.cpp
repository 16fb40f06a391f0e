// SPDX-License-Identifier: Apache-2.0

#include <cmath>

#include <gtest/gtest.h>

#include "hand_driven_host.h"
#include "simulator/link/line_fault.h"
#include "simulator/link/line_pace.h"

namespace crestgate::simulator {
namespace {

constexpr base::MonotonicInstant at_us(std::int64_t us) { return {1000 * us}; }

TEST(LinePace, TakesTenBitTimesAByte) {
  LinePace pace(10'000);  // 1 ms a byte
  pace.push(Bytes{1, 2, 3}, at_us(0));
  EXPECT_EQ(pace.release(at_us(999)), Bytes{});
  EXPECT_EQ(pace.release(at_us(1000)), Bytes{1});
  EXPECT_EQ(pace.release(at_us(3000)), (Bytes{2, 3}));
  EXPECT_FALSE(pace.next_due().has_value());
}

TEST(LinePace, CarriesABurstAtTheLinesRateWhateverTheCalls) {
  LinePace pace(115'200);
  pace.push(Bytes(11'520, 0x55), at_us(0));  // 11520 bytes a second
  std::size_t carried = 0;
  while (const auto due = pace.next_due()) {
    carried += pace.release(*due).size();
    EXPECT_NEAR(static_cast<double>(carried), 11'520.0 * static_cast<double>(due->ns) * 1e-9, 1.0);
  }
  EXPECT_EQ(carried, 11'520U);
}

TEST(LinePace, BytesQueueBehindOnesThatStillLeave) {
  LinePace pace(10'000);
  pace.push(Bytes{1}, at_us(0));
  pace.push(Bytes{2}, at_us(500));
  EXPECT_EQ(pace.release(at_us(1500)), Bytes{1});
  EXPECT_EQ(pace.release(at_us(2000)), Bytes{2});
  pace.push(Bytes{3}, at_us(2000));
  EXPECT_EQ(pace.release(at_us(2999)), Bytes{});
  EXPECT_EQ(pace.release(at_us(3000)), Bytes{3});
}

TEST(LinePace, WithoutARatePassesAllAtOnce) {
  LinePace pace(std::nullopt);
  pace.push(Bytes{1, 2}, at_us(5));
  EXPECT_EQ(pace.release(at_us(5)), (Bytes{1, 2}));
}

TEST(LineFault, AGoodLineChangesNothing) {
  LineFault fault(1);
  const Bytes bytes = {1, 2, 3, 0};
  EXPECT_EQ(fault.pass(bytes, Direction::kToHost, {}), bytes);
}

// n independent bytes with probability p: mean n p, standard deviation sqrt(n p (1 - p)); five of them
// allowed.
TEST(LineFault, FlipsAndDropsAsOftenAsAsked) {
  constexpr std::size_t kBytes = 100'000;
  LineFault fault(1);
  const Bytes sent(kBytes, 0);
  const Bytes dropped =
      fault.pass(sent, Direction::kToHost, {.to_host = {.drop_probability = 0.01}, .to_gauge = {}});
  const double sd = std::sqrt(kBytes * 0.01 * 0.99);
  EXPECT_NEAR(static_cast<double>(kBytes - dropped.size()), kBytes * 0.01, 5.0 * sd);

  const Bytes flipped =
      fault.pass(sent, Direction::kToHost, {.to_host = {.flip_probability = 0.01}, .to_gauge = {}});
  ASSERT_EQ(flipped.size(), kBytes);
  std::size_t flips = 0;
  unsigned bits_seen = 0;
  for (const std::uint8_t byte : flipped) {
    if (byte == 0) continue;
    ++flips;
    bits_seen |= byte;
    EXPECT_EQ(byte & (byte - 1), 0) << "one bit only";
  }
  EXPECT_NEAR(static_cast<double>(flips), kBytes * 0.01, 5.0 * sd);
  EXPECT_EQ(bits_seen, 0xFFU);
}

TEST(LineFault, DamageDependsOnTheBytesAndNotOnHowTheyWereCut) {
  const LineFaultSettings settings{.to_host = {.flip_probability = 0.1, .drop_probability = 0.1},
                                   .to_gauge = {}};
  Bytes sent(1000);
  for (std::size_t i = 0; i < sent.size(); ++i) sent[i] = static_cast<std::uint8_t>(i);
  LineFault whole(9);
  LineFault bytewise(9);
  Bytes parts;
  for (const std::uint8_t byte : sent) {
    for (const std::uint8_t out : bytewise.pass(ByteView(&byte, 1), Direction::kToHost, settings))
      parts.push_back(out);
  }
  EXPECT_EQ(whole.pass(sent, Direction::kToHost, settings), parts);
}

TEST(Line, PacesTheGaugeSoThatATraverseTakesItsTimeOnTheWire) {
  KnownWorld world;
  Gauge gauge(GaugeTraits{.speed_scale = 1000.0}, world, base::MonotonicInstant{});
  Line line(gauge, world, {.baud = 9600, .seed = 0});
  HandDrivenHost host = host_of(line);
  host.say(1, {StartTraverse{.traverse_id = 1, .length_um = 500, .spacing_nm = 500, .speed_um_per_s = 500}});
  host.wait_alive_ms(4000);  // 1000 heights are a good 4000 bytes: 4.3 s at 960 bytes a second
  EXPECT_TRUE(host.heard<Finished>().empty());
  host.wait_alive_ms(500);
  EXPECT_EQ(host.heard<Finished>().size(), 1U);
  EXPECT_EQ(host.receiver().counters(), ReceiveCounters{});
}

}  // namespace
}  // namespace crestgate::simulator
