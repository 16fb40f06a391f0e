// SPDX-License-Identifier: Apache-2.0
// Lights on the coils of an I/O block, and the plan behind them.

#include "driver/signal/modbus/coil_lights.h"

#include <array>
#include <atomic>
#include <memory>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/modbus_device.h"
#include "driver/python_peer.h"
#include "driver/signal/modbus/coil_plan.h"
#include "support/open_descriptors.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using std::chrono::milliseconds;
using std::chrono::steady_clock;
using tests::Bytes;
using tests::ModbusDevice;
using tests::PeerSocket;

using Lit = std::array<bool, 3>;
using Row = std::vector<bool>;
constexpr Lit kDark{false, false, false};
constexpr Lit kGreen{true, false, false};
constexpr Lit kRed{false, true, false};
constexpr Lit kBoth{true, true, false};

Row row(const Lit& lit) { return Row(lit.begin(), lit.end()); }

class CoilPlanTest : public ::testing::Test {
 protected:
  void want(const Lit& lit) { plan_.want(lit, now_); }
  void confirm() { plan_.confirmed(plan_.target(now_), now_); }
  Row target() { return plan_.target(now_); }
  CoilPlan::Time now_{std::chrono::hours(1)};
  CoilPlan plan_{3, milliseconds(1000)};
};

TEST_F(CoilPlanTest, NothingIsLitBeforeOffIsConfirmed) {
  want(kGreen);
  EXPECT_EQ(target(), row(kDark));
  confirm();
  EXPECT_EQ(target(), row(kGreen));
  plan_.doubt();
  EXPECT_EQ(target(), row(kDark));
}

TEST_F(CoilPlanTest, OffComesBeforeOn) {
  confirm();
  want(kGreen);
  confirm();
  want(kRed);
  EXPECT_EQ(target(), row(kDark));
  confirm();
  EXPECT_EQ(target(), row(kRed));
  confirm();
  want(kBoth);
  EXPECT_EQ(target(), row(kBoth));  // only on
  confirm();
  want(kGreen);
  EXPECT_EQ(target(), row(kGreen));  // only off
}

TEST_F(CoilPlanTest, WhatIsNotAskedForAgainGoesOff) {
  confirm();
  want(kGreen);
  confirm();
  now_ += milliseconds(1000);
  EXPECT_EQ(target(), row(kGreen));
  now_ += milliseconds(1);
  EXPECT_EQ(target(), row(kDark));
  want(kGreen);
  EXPECT_EQ(target(), row(kGreen));
}

TEST_F(CoilPlanTest, AMismatchKeepsEverythingOffUntilItIsConfirmedAndSomethingElseIsWanted) {
  confirm();
  want(kGreen);
  plan_.mismatched(target());
  EXPECT_EQ(target(), row(kDark));
  want(kRed);
  EXPECT_EQ(target(), row(kDark));  // off is not confirmed
  plan_.mismatched(row(kDark));
  want(kGreen);
  confirm();
  EXPECT_EQ(target(), row(kDark));  // the same again
  EXPECT_TRUE(plan_.has_fault());
  want(kRed);
  EXPECT_EQ(target(), row(kRed));
  EXPECT_FALSE(plan_.has_fault());
}

TEST_F(CoilPlanTest, ShowsWhatIsWantedOnlyWhenNothingElseIsUnderWay) {
  confirm();
  EXPECT_TRUE(plan_.shows_wanted());
  want(kGreen);
  EXPECT_FALSE(plan_.shows_wanted());
  plan_.begin(target());
  want(kDark);
  EXPECT_FALSE(plan_.shows_wanted());  // the green may be on just now
  plan_.doubt();
  EXPECT_FALSE(plan_.shows_wanted());
}

CoilLightsOptions options_for(std::uint16_t port) {
  CoilLightsOptions options;
  options.peer.host = "127.0.0.1";
  options.peer.port = port;
  options.peer.backoff_shortest = milliseconds(5);
  options.peer.backoff_longest = milliseconds(20);
  options.first_coil = 8;
  options.lights = 3;
  return options;
}

class CoilLightsTest : public ::testing::Test {
 protected:
  void open(const CoilLightsOptions& options) {
    auto made = make_coil_lights(io_.get_executor(), options);
    ASSERT_TRUE(made.has_value()) << made.error().detail;
    lights_ = *std::move(made);
  }
  // Asks for `lit` again and again, as the cell does, until the condition holds.
  template <class Condition>
  void hold(const Lit& lit, Condition condition) {
    tests::run_until(io_, [&] {
      static_cast<void>(lights_->set(lit));
      return condition();
    });
  }
  bool is_confirmed(const Lit& lit) {
    const auto applied = lights_->set(lit);
    return applied.has_value() && *applied == Applied::kConfirmed;
  }
  void show(const Lit& lit) {
    hold(lit, [&] { return is_confirmed(lit); });
  }
  void run_for(milliseconds time) {
    io_.restart();
    io_.run_for(time);
  }
  static Row coils(const ModbusDevice& block) { return block.coils(8, 3); }
  // The first byte of each write of coils, in order.
  static std::vector<unsigned> written(const ModbusDevice& block) {
    std::vector<unsigned> bytes;
    for (const Bytes& pdu : block.requests()) {
      if (pdu[0] == 15) bytes.push_back(pdu.at(6));
    }
    return bytes;
  }

  boost::asio::io_context io_{1};
  std::unique_ptr<CoilLights> lights_;
};

TEST_F(CoilLightsTest, ShowsAndConfirmsWhatItIsTold) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kGreen);
  EXPECT_EQ(coils(block), row(kGreen));
  show(kBoth);
  EXPECT_EQ(coils(block), row(kBoth));
  show(kDark);
  EXPECT_EQ(coils(block), row(kDark));
  // Function 15 of three coils from 8, then function 1 of the same.
  const std::vector<Bytes> requests = block.requests();
  for (std::size_t i = 0; i + 1 < requests.size(); i += 2) {
    EXPECT_EQ(Bytes(requests[i].begin(), requests[i].begin() + 6), (Bytes{15, 0, 8, 0, 3, 1}));
    EXPECT_EQ(requests[i + 1], (Bytes{1, 0, 8, 0, 3}));
  }
}

TEST_F(CoilLightsTest, ANewLinkBeginsDark) {
  ModbusDevice block;
  block.stick_coil(8, true);  // left on by whoever was there before
  block.unstick_coils();
  open(options_for(block.port()));
  show(kGreen);
  EXPECT_EQ(written(block).front(), 0U);
}

TEST_F(CoilLightsTest, OffIsWrittenBeforeOn) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kGreen);
  block.forget_requests();
  show(kRed);
  const std::vector<unsigned> order = written(block);
  ASSERT_GE(order.size(), 2U);
  EXPECT_EQ(order[order.size() - 2], 0U);
  EXPECT_EQ(order.back(), 2U);
}

TEST_F(CoilLightsTest, AnUnchangedRowIsWrittenAgainEveryTwoHundredMilliseconds) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kGreen);
  block.forget_requests();
  const auto until = steady_clock::now() + milliseconds(1500);
  hold(kGreen, [&] { return steady_clock::now() >= until; });
  EXPECT_GE(written(block).size(), 4U);
  EXPECT_LE(written(block).size(), 9U);
}

TEST_F(CoilLightsTest, AChangeGoesOutAtOnce) {
  ModbusDevice block;
  CoilLightsOptions options = options_for(block.port());
  options.refresh = std::chrono::seconds(10);
  open(options);
  for (int turn = 0; turn < 6; ++turn) {
    const auto began = steady_clock::now();
    show(turn % 2 == 0 ? kGreen : kRed);
    EXPECT_LT(steady_clock::now() - began, milliseconds(2000));
  }
}

TEST_F(CoilLightsTest, TheNewestWins) {
  ModbusDevice block([](PeerSocket& peer, const Bytes&, const Bytes& answer) {
    std::this_thread::sleep_for(milliseconds(50));
    return peer.send(answer);
  });
  open(options_for(block.port()));
  show(kDark);
  block.forget_requests();
  static_cast<void>(lights_->set(kGreen));
  tests::run_until(io_, [&] { return !block.requests().empty(); });
  static_cast<void>(lights_->set(kRed));
  static_cast<void>(lights_->set(kBoth));
  static_cast<void>(lights_->set(kDark));
  show(kDark);
  EXPECT_EQ(written(block), (std::vector<unsigned>{1, 0}));
}

TEST_F(CoilLightsTest, LightsThatNobodyAsksForAgainGoOff) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kGreen);
  const auto began = steady_clock::now();
  tests::run_until(io_, [&] { return coils(block) == row(kDark); });  // the cell's cycle hangs, we do not
  EXPECT_LT(steady_clock::now() - began, milliseconds(2000));
  show(kGreen);
}

TEST_F(CoilLightsTest, AMismatchPutsEverythingOffAndIsSaid) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kDark);
  block.stick_coil(8, false);  // the green does not come on
  hold(kBoth, [&] { return lights_->counters().mismatches > 0; });
  hold(kBoth, [&] { return coils(block) == row(kDark); });
  const auto failed = lights_->set(kBoth);
  ASSERT_FALSE(failed.has_value());
  EXPECT_EQ(failed.error().code, ErrorCode::kDeviceFault) << failed.error().detail;
  block.forget_requests();
  const auto until = steady_clock::now() + milliseconds(500);
  hold(kBoth, [&] { return steady_clock::now() >= until; });
  for (const unsigned byte : written(block)) EXPECT_EQ(byte, 0U);  // not tried again
  block.unstick_coils();
  show(kRed);
  show(kBoth);
}

TEST_F(CoilLightsTest, ALightThatDoesNotGoOffKeepsAllOthersOff) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kRed);
  block.stick_coil(9, true);
  hold(kDark, [&] { return lights_->counters().mismatches > 0; });
  block.forget_requests();
  const auto until = steady_clock::now() + milliseconds(500);
  hold(kGreen, [&] { return steady_clock::now() >= until; });
  for (const unsigned byte : written(block)) EXPECT_EQ(byte, 0U);
  EXPECT_FALSE(lights_->set(kGreen).has_value());
  block.unstick_coils();
  hold(kGreen, [&] { return coils(block) == row(kDark); });
  show(kRed);  // something else than what was wanted all the time
  show(kGreen);
}

TEST_F(CoilLightsTest, DoubtIsFollowedByDark) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kGreen);
  const auto silences = std::make_shared<std::atomic<int>>(1);
  block.behave([silences](PeerSocket& peer, const Bytes&, const Bytes& answer) {
    return silences->fetch_sub(1) > 0 || peer.send(answer);
  });
  block.forget_requests();
  hold(kGreen, [&] { return !lights_->set(kGreen).has_value(); });
  show(kGreen);
  const std::vector<unsigned> order = written(block);
  ASSERT_GE(order.size(), 3U);
  EXPECT_EQ(order[0], 1U);
  EXPECT_EQ(order[1], 0U);
  EXPECT_EQ(order[2], 1U);
}

TEST_F(CoilLightsTest, AfterALostLinkItComesBackDarkFirst) {
  auto block = std::make_unique<ModbusDevice>();
  const std::uint16_t port = block->port();
  open(options_for(port));
  show(kGreen);
  block.reset();
  hold(kGreen, [&] {
    const auto set = lights_->set(kGreen);
    return !set && set.error().code == ErrorCode::kDisconnected;
  });
  block = std::make_unique<ModbusDevice>(ModbusDevice::polite, port);
  show(kGreen);
  EXPECT_EQ(written(*block).front(), 0U);
}

TEST_F(CoilLightsTest, StopPutsEverythingOffEvenIfNobodyRunsTheLoopAgain) {
  ModbusDevice block;
  open(options_for(block.port()));
  show(kBoth);
  lights_->stop();
  lights_->stop();
  EXPECT_EQ(lights_->set(kGreen).error().code, ErrorCode::kCancelled);
  const auto limit = steady_clock::now() + std::chrono::seconds(10);
  while (coils(block) != row(kDark) && steady_clock::now() < limit) std::this_thread::yield();
  EXPECT_EQ(coils(block), row(kDark));
  io_.restart();
  io_.run_for(std::chrono::seconds(5));
  EXPECT_TRUE(io_.stopped());
}

TEST_F(CoilLightsTest, ComesBackFromEveryKindOfNonsense) {
  const std::vector<ModbusDevice::Manner> manners = {
      [](PeerSocket&, const Bytes&, const Bytes&) { return false; },
      [](PeerSocket&, const Bytes&, const Bytes&) { return true; },
      [](PeerSocket& peer, const Bytes&, const Bytes& answer) {
        peer.send({answer.begin(), answer.begin() + 9});
        return false;
      },
      [](PeerSocket& peer, const Bytes&, const Bytes&) { return peer.send(Bytes(50'000, 0xFF)); },
      [](PeerSocket& peer, const Bytes&, Bytes answer) {
        answer[7] ^= 0x0EU;
        return peer.send(answer);
      },
      [](PeerSocket& peer, const Bytes& request, const Bytes&) {
        return peer.send(tests::modbus_frame(static_cast<std::uint16_t>(request[0] * 256 + request[1]), 1,
                                             {static_cast<std::uint8_t>(request[7] | 0x80U), 4}));
      },
      [](PeerSocket& peer, const Bytes&, const Bytes& answer) {
        std::this_thread::sleep_for(milliseconds(400));
        return peer.send(answer);
      },
  };
  ModbusDevice block;
  open(options_for(block.port()));
  for (const auto& manner : manners) {
    show(kGreen);
    block.behave(manner);
    hold(kGreen, [&] { return !lights_->set(kGreen).has_value(); });
    block.behave(ModbusDevice::polite);
    show(kGreen);
    EXPECT_EQ(coils(block), row(kGreen));
  }
  EXPECT_EQ(lights_->counters().mismatches, 0U);
}

TEST_F(CoilLightsTest, ThreeHundredReconnectsLeakNoDescriptor) {
  ModbusDevice block([](PeerSocket&, const Bytes&, const Bytes&) { return false; });
  CoilLightsOptions options = options_for(block.port());
  options.peer.backoff_shortest = milliseconds(1);
  options.peer.backoff_longest = milliseconds(2);
  open(options);
  tests::run_until(io_, [&] { return lights_->line_counters().lost >= 2; });
  const std::size_t before = tests::open_descriptors();
  tests::run_until(io_, [&] { return lights_->line_counters().lost >= 302; });
  EXPECT_LE(tests::open_descriptors(),
            before + 2);  // one connection may be open just now, with both its ends
}

TEST_F(CoilLightsTest, AnIndependentBlockWithAWatchdogFallsWhenWeFallSilent) {
  tests::PythonPeer block("modbus_peer_device.py", {"600"});
  const std::string port = block.read_line();
  ASSERT_FALSE(port.empty());
  CoilLightsOptions options = options_for(static_cast<std::uint16_t>(std::stoi(port)));
  options.falls_after = milliseconds(600);
  open(options);
  EXPECT_TRUE(lights_->falls_by_itself().falls);
  show(kBoth);
  EXPECT_EQ(block.ask("coils 8 3"), "1 1 0");
  const auto until = steady_clock::now() + milliseconds(1500);
  hold(kBoth, [&] { return steady_clock::now() >= until; });
  EXPECT_EQ(block.ask("coils 8 3"), "1 1 0");  // kept awake
  EXPECT_EQ(block.ask("fallen"), "0");
  const auto limit =
      steady_clock::now() + std::chrono::seconds(10);  // as if our process hung: the loop does not run
  while (block.ask("coils 8 3") != "0 0 0" && steady_clock::now() < limit) std::this_thread::yield();
  EXPECT_EQ(block.ask("fallen"), "1");
}

TEST(CoilLightsOptionsTest, SaysTrulyWhetherItFallsAndRefusesWhatCannotBe) {
  boost::asio::io_context io;
  const auto make = [&](const std::function<void(CoilLightsOptions&)>& spoil) {
    CoilLightsOptions options = options_for(502);
    spoil(options);
    return make_coil_lights(io.get_executor(), options);
  };
  const auto without = make([](CoilLightsOptions&) {});
  ASSERT_TRUE(without.has_value());
  EXPECT_FALSE((*without)->falls_by_itself().falls);
  EXPECT_EQ((*without)->name(), "coils 8 to 10 of 127.0.0.1:502 unit 1");
  const auto with = make([](CoilLightsOptions& o) { o.falls_after = milliseconds(1000); });
  EXPECT_TRUE((*with)->falls_by_itself().falls);
  EXPECT_NE((*with)->falls_by_itself().sentence.find("1000 ms"), std::string::npos);
  const std::vector<std::function<void(CoilLightsOptions&)>> wrong = {
      [](CoilLightsOptions& o) { o.lights = 0; },
      [](CoilLightsOptions& o) { o.lights = 65; },
      [](CoilLightsOptions& o) { o.first_coil = 65534; },
      [](CoilLightsOptions& o) { o.falls_after = milliseconds(100); },
      [](CoilLightsOptions& o) { o.falls_after = milliseconds(60'000); },
      [](CoilLightsOptions& o) { o.refresh = milliseconds(0); },
      [](CoilLightsOptions& o) { o.peer.host = "block"; },
  };
  for (const auto& spoil : wrong) EXPECT_EQ(make(spoil).error().code, ErrorCode::kInvalidConfig);
}

}  // namespace
}  // namespace crestgate::driver
