// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/gauge_station.h"

#include <memory>
#include <vector>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/gauge/gauge_reason.h"
#include "driver/gauge/link/link_gauge.h"
#include "driver/gauge/registry.h"
#include "driver/stream/pipe_stream.h"
#include "driver/stream/serial_stream.h"
#include "support/link_peer.h"
#include "support/open_descriptors.h"
#include "support/pty_pair.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using std::chrono::milliseconds;

// A port that can be pulled: each opening makes a new pipe with a peer on the other end.
struct Bench {
  explicit Bench(boost::asio::io_context& on) : io(on) {}
  boost::asio::io_context& io;
  tests::PeerManners manners;
  std::unique_ptr<tests::LinkPeer> peer;
  int opened = 0;
  bool plugged = true;
};

Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_bench(Bench* bench) {
  ++bench->opened;
  if (!bench->plugged) co_return base::Error{ErrorCode::kNotFound, "/dev/gauge: no such port"};
  auto pipe = make_pipe(bench->io.get_executor());
  bench->peer =
      std::make_unique<tests::LinkPeer>(bench->io.get_executor(), std::move(pipe.far), bench->manners);
  co_return std::move(pipe.near);
}

class GaugeStationTest : public ::testing::Test {
 protected:
  GaugeStationTest() : bench_(io_) {}
  void start(std::string serial_number = "") {
    LinkOptions options;
    options.expected_serial_number = std::move(serial_number);
    options.timing.answer = milliseconds(100);
    options.timing.silence = milliseconds(500);
    auto* bench = &bench_;
    auto* io = &io_;
    station_ = make_gauge_station(
        io_.get_executor(), [bench] { return open_bench(bench); },
        [io, options](std::unique_ptr<ByteStream> stream) {
          return make_link_gauge(io->get_executor(), std::move(stream), options);
        },
        {.first_pause = milliseconds(1), .longest_pause = milliseconds(8)});
    station_->on_change([this] { ++changes_; });
  }
  boost::asio::io_context io_;
  Bench bench_;
  std::unique_ptr<Gauge> station_;
  int changes_ = 0;
};

TEST_F(GaugeStationTest, ComesOnlineByItselfAndAnswers) {
  start();
  EXPECT_FALSE(station_->online());
  EXPECT_EQ(tests::run(io_, station_->state()).error().code, ErrorCode::kDisconnected);
  tests::run_until(io_, [&] { return station_->online(); });
  EXPECT_EQ(changes_, 1);
  const auto identity = tests::run(io_, station_->identify());
  ASSERT_TRUE(identity.has_value());
  EXPECT_EQ(identity->serial_number, "SN-0042");
}

TEST_F(GaugeStationTest, TriesForEverWithGrowingPausesAndSaysWhy) {
  bench_.plugged = false;
  start();
  tests::run_until(io_, [&] { return bench_.opened >= 6; });
  EXPECT_FALSE(station_->online());
  EXPECT_EQ(station_->offline_reason().code, ErrorCode::kNotFound);
  EXPECT_EQ(changes_, 1) << "the same reason again is no news";
  bench_.plugged = true;
  tests::run_until(io_, [&] { return station_->online(); });
}

TEST_F(GaugeStationTest, ComesBackAfterThePortWentAwayManyTimes) {
  start();
  tests::run_until(io_, [&] { return station_->online(); });
  for (int turn = 0; turn < 200; ++turn) {
    bench_.peer->hang_up();
    tests::run_until(io_, [&] { return !station_->online(); });
    EXPECT_EQ(tests::run(io_, station_->state()).error().code, ErrorCode::kDisconnected);
    tests::run_until(io_, [&] { return station_->online(); });
  }
  EXPECT_EQ(station_->health().connections, 201U);
  EXPECT_GE(station_->health().frames_good, 201U) << "counters outlive the connection";
}

TEST_F(GaugeStationTest, TheWrongGaugeIsNamedAsTheReason) {
  start("SN-0041");
  tests::run_until(io_, [&] { return bench_.opened >= 2; });
  const auto state = tests::run(io_, station_->state());
  ASSERT_FALSE(state.has_value());
  EXPECT_EQ(reason_of(state.error()), base::Reason::kGaugeWrongIdentity) << state.error().detail;
  EXPECT_FALSE(station_->online());
}

TEST_F(GaugeStationTest, ARestartedGaugeIsIdentifiedAnew) {
  start();
  tests::run_until(io_, [&] { return station_->online(); });
  bench_.manners.boot_id = 78;
  bench_.peer->manners().boot_id = 78;
  tests::run_until(io_, [&] { return !station_->online(); });
  EXPECT_EQ(station_->offline_reason().code, ErrorCode::kRestarted);
  tests::run_until(io_, [&] { return station_->online(); });
  EXPECT_EQ(tests::run(io_, station_->identify())->boot_id, 78U);
}

TEST_F(GaugeStationTest, StopIsForGood) {
  start();
  tests::run_until(io_, [&] { return station_->online(); });
  const int opened = bench_.opened;
  station_->stop();
  EXPECT_FALSE(station_->online());
  tests::settle(io_);
  EXPECT_EQ(bench_.opened, opened);
  EXPECT_EQ(tests::run(io_, station_->state()).error().code, ErrorCode::kDisconnected);
}

TEST(GaugeRegistry, MakesALinkGaugeOnARealPseudoTerminalThatComesBack) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  tests::LinkPeer peer(io.get_executor(), std::move(pty.master), {});
  GaugeConfig config;
  config.port.address = PortIdentity{pty.slave_path};
  config.expected_serial_number = "SN-0042";
  peer.manners().heights.assign(2000, 5);
  auto gauge = make_gauge(io.get_executor(), config);
  ASSERT_TRUE(gauge.has_value());
  tests::run_until(io, [&] { return (*gauge)->online(); });
  const auto result = tests::run(io, (*gauge)->traverse({1.0, 0.0005, 0.5}));
  ASSERT_TRUE(result.has_value()) << result.error().detail;
  EXPECT_EQ(result->heights.counts, peer.manners().heights);
  peer.hang_up();
  tests::run_until(io, [&] { return !(*gauge)->online(); });
  EXPECT_EQ((*gauge)->offline_reason().code, ErrorCode::kDisconnected) << (*gauge)->offline_reason().detail;
}

Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_slave(boost::asio::any_io_executor executor,
                                                                std::string path) {
  co_return open_serial(executor, path, {});
}

// The same with a real port: a new pseudo-terminal each time the old one is pulled.
TEST(GaugeStationOnAPty, ReconnectsLeakNoDescriptor) {
  boost::asio::io_context io;
  const auto executor = io.get_executor();
  auto pty = tests::open_pty(executor);
  std::string path = pty.slave_path;
  auto peer = std::make_unique<tests::LinkPeer>(executor, std::move(pty.master), tests::PeerManners{});
  auto station = make_gauge_station(
      executor, [&] { return open_slave(executor, path); },
      [&](std::unique_ptr<ByteStream> stream) { return make_link_gauge(executor, std::move(stream), {}); },
      {.first_pause = milliseconds(1), .longest_pause = milliseconds(8)});
  tests::run_until(io, [&] { return station->online(); });
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 100; ++turn) {
    peer.reset();
    tests::run_until(io, [&] { return !station->online(); });
    auto next = tests::open_pty(executor);
    path = next.slave_path;
    peer = std::make_unique<tests::LinkPeer>(executor, std::move(next.master), tests::PeerManners{});
    tests::run_until(io, [&] { return station->online(); });
  }
  EXPECT_EQ(tests::open_descriptors(), before);
}

TEST(GaugeRegistry, AnUnknownKindNamesTheKnownOnes) {
  boost::asio::io_context io;
  GaugeConfig config;
  config.kind = "telepathy";
  const auto gauge = make_gauge(io.get_executor(), config);
  ASSERT_FALSE(gauge.has_value());
  EXPECT_EQ(gauge.error().code, ErrorCode::kInvalidConfig);
  EXPECT_NE(gauge.error().detail.find("link"), std::string::npos);
  for (const GaugeKind& kind : gauge_kinds()) EXPECT_FALSE(kind.title.empty());
}

// The reasons are those of protocol/base/reason.h, group 2xx and kAborted.
TEST(GaugeReason, EveryErrorOfAGaugeHasItsReason) {
  const std::vector<std::pair<ErrorCode, base::Reason>> table = {
      {ErrorCode::kNoReply, base::Reason::kGaugeSilent},
      {ErrorCode::kStopped, base::Reason::kGaugeStopped},
      {ErrorCode::kDisconnected, base::Reason::kGaugeDisconnected},
      {ErrorCode::kChecksum, base::Reason::kGaugeLinkDamaged},
      {ErrorCode::kMalformed, base::Reason::kGaugeLinkDamaged},
      {ErrorCode::kRestarted, base::Reason::kGaugeRestarted},
      {ErrorCode::kRefused, base::Reason::kGaugeRefused},
      {ErrorCode::kOutOfRange, base::Reason::kGaugeRefused},
      {ErrorCode::kDeviceFault, base::Reason::kGaugeFault},
      {ErrorCode::kWrongIdentity, base::Reason::kGaugeWrongIdentity},
      {ErrorCode::kNotSupported, base::Reason::kGaugeProtocol},
      {ErrorCode::kCancelled, base::Reason::kAborted},
      {ErrorCode::kCorruptFile, base::Reason::kInternalError},
  };
  for (const auto& [code, reason] : table) EXPECT_EQ(reason_of({code, ""}), reason);
}

}  // namespace
}  // namespace crestgate::driver
