// SPDX-License-Identifier: Apache-2.0
// What driver/gauge/gauge.h promises, held against every implementation.

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/gauge/gauge_station.h"
#include "driver/gauge/link/link_gauge.h"
#include "driver/gauge/registry.h"
#include "driver/stream/pipe_stream.h"
#include "support/link_peer.h"
#include "support/pty_pair.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using std::chrono::milliseconds;

// A gauge with the bench that it talks to.
struct Bench {
  std::unique_ptr<tests::LinkPeer> peer;
  std::unique_ptr<Gauge> gauge;
};

LinkOptions quick() {
  LinkOptions options;
  options.timing.answer = milliseconds(150);
  options.timing.silence = milliseconds(600);
  options.timing.chunk = milliseconds(200);
  return options;
}

Awaitable<base::Result<std::unique_ptr<ByteStream>>> hand_over(
    std::shared_ptr<std::unique_ptr<ByteStream>> stream) {
  if (!*stream) co_return base::Error{ErrorCode::kNotFound, "no port"};
  co_return std::move(*stream);
}

Bench link_bench(boost::asio::io_context& io, tests::PeerManners manners) {
  auto pipe = make_pipe(io.get_executor());
  return {std::make_unique<tests::LinkPeer>(io.get_executor(), std::move(pipe.far), std::move(manners)),
          make_link_gauge(io.get_executor(), std::move(pipe.near), quick())};
}

Bench station_bench(boost::asio::io_context& io, tests::PeerManners manners) {
  auto pipe = make_pipe(io.get_executor());
  auto near = std::make_shared<std::unique_ptr<ByteStream>>(std::move(pipe.near));
  auto make = [&io](std::unique_ptr<ByteStream> stream) {
    return make_link_gauge(io.get_executor(), std::move(stream), quick());
  };
  return {std::make_unique<tests::LinkPeer>(io.get_executor(), std::move(pipe.far), std::move(manners)),
          make_gauge_station(
              io.get_executor(), [near] { return hand_over(near); }, make)};
}

Bench registry_bench(boost::asio::io_context& io, tests::PeerManners manners) {
  auto pty = tests::open_pty(io.get_executor());
  GaugeConfig config;
  config.port.address = PortIdentity{pty.slave_path};
  return {std::make_unique<tests::LinkPeer>(io.get_executor(), std::move(pty.master), std::move(manners)),
          *make_gauge(io.get_executor(), config)};
}

struct Kind {
  const char* name;
  Bench (*make)(boost::asio::io_context&, tests::PeerManners);
};

class GaugeContract : public ::testing::TestWithParam<Kind> {
 protected:
  void begin(tests::PeerManners manners = {}) {
    if (manners.heights.empty()) manners.heights.assign(700, -3);
    bench_ = GetParam().make(io_, std::move(manners));
    if (!bench_.gauge->online()) {
      const auto identity = tests::run(io_, bench_.gauge->identify());
      tests::run_until(io_, [&] { return bench_.gauge->online(); });
    }
  }
  Gauge& gauge() { return *bench_.gauge; }
  base::Result<TraverseResult> traverse() {
    return tests::run(io_,
                      gauge().traverse({.length_mm = 0.35, .spacing_mm = 0.0005, .speed_mm_per_s = 0.5}));
  }
  boost::asio::io_context io_;
  Bench bench_;
};

TEST_P(GaugeContract, IdentifiesItself) {
  begin();
  const auto identity = tests::run(io_, gauge().identify());
  ASSERT_TRUE(identity.has_value()) << identity.error().detail;
  EXPECT_FALSE(identity->kind.empty());
  EXPECT_EQ(identity->serial_number, "SN-0042");
}

TEST_P(GaugeContract, TraversesAndRetractsAndCanDoItAgain) {
  begin();
  for (int turn = 0; turn < 3; ++turn) {
    const auto result = traverse();
    ASSERT_TRUE(result.has_value()) << result.error().detail;
    EXPECT_EQ(result->heights.counts.size(), 700U);
    EXPECT_GT(result->last_sample_arrived.ns, 0);
    const auto retracted = tests::run(io_, gauge().retract());
    ASSERT_TRUE(retracted.has_value()) << retracted.error().detail;
    const auto state = tests::run(io_, gauge().state());
    ASSERT_TRUE(state.has_value());
    EXPECT_TRUE(state->stylus_clear);
    EXPECT_TRUE(state->ready);
  }
}

TEST_P(GaugeContract, OneRequestAtATimeButAbortAlways) {
  tests::PeerManners manners;
  manners.speed_um_per_s = 5;
  manners.stall_after = 1;
  begin(manners);
  std::optional<base::Result<TraverseResult>> result;
  tests::start(io_, gauge().traverse({0.35, 0.0005, 0.5}), result);
  tests::run_until(io_, [&] { return bench_.peer->traverses_begun() == 1; });
  EXPECT_EQ(tests::run(io_, gauge().state()).error().code, ErrorCode::kBusy);
  EXPECT_TRUE(tests::run(io_, gauge().abort()).has_value());
  ASSERT_TRUE(result.has_value());
  ASSERT_FALSE(result->has_value());
  EXPECT_EQ(result->error().code, ErrorCode::kCancelled);
  EXPECT_FALSE(bench_.peer->stylus_down());
}

TEST_P(GaugeContract, ALostPortIsToldOnceAndEveryRequestThenFailsAtOnce) {
  begin();
  int changes = 0;
  gauge().on_change([&] { ++changes; });
  bench_.peer->hang_up();
  tests::run_until(io_, [&] { return !gauge().online(); });
  tests::run_until(io_, [&] { return changes > 0; });
  EXPECT_EQ(gauge().offline_reason().code, ErrorCode::kDisconnected) << gauge().offline_reason().detail;
  EXPECT_FALSE(gauge().offline_reason().detail.empty());
  const auto before = std::chrono::steady_clock::now();
  EXPECT_EQ(traverse().error().code, ErrorCode::kDisconnected);
  EXPECT_EQ(tests::run(io_, gauge().retract()).error().code, ErrorCode::kDisconnected);
  EXPECT_EQ(tests::run(io_, gauge().abort()).error().code, ErrorCode::kDisconnected);
  EXPECT_EQ(tests::run(io_, gauge().identify()).error().code, ErrorCode::kDisconnected);
  EXPECT_LT(std::chrono::steady_clock::now() - before, milliseconds(140)) << "less than one answer time";
}

TEST_P(GaugeContract, HealthCountsAndKnowsTheLastByte) {
  begin();
  ASSERT_TRUE(traverse().has_value());
  EXPECT_GE(gauge().health().frames_good, 7U);
  EXPECT_EQ(gauge().health().connections, 1U);
  EXPECT_TRUE(gauge().health().seconds_since_last_byte.has_value());
}

TEST_P(GaugeContract, StopEndsAWaitingRequest) {
  tests::PeerManners manners;
  manners.speed_um_per_s = 5;
  manners.stall_after = 1;
  begin(manners);
  std::optional<base::Result<TraverseResult>> result;
  tests::start(io_, gauge().traverse({0.35, 0.0005, 0.5}), result);
  tests::run_until(io_, [&] { return bench_.peer->traverses_begun() == 1; });
  gauge().stop();
  tests::run_until(io_, [&] { return result.has_value(); });
  EXPECT_EQ(result->error().code, ErrorCode::kDisconnected);
  EXPECT_FALSE(gauge().online());
}

INSTANTIATE_TEST_SUITE_P(Gauges, GaugeContract,
                         ::testing::Values(Kind{"link", link_bench}, Kind{"station", station_bench},
                                           Kind{"registry_on_a_pty", registry_bench}),
                         [](const auto& tested) { return std::string(tested.param.name); });

}  // namespace
}  // namespace crestgate::driver
