// SPDX-License-Identifier: Apache-2.0
// What driver/stream/byte_stream.h promises, held against every implementation.

#include <array>
#include <functional>
#include <memory>
#include <numeric>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <gtest/gtest.h>

#include "driver/stream/asio_stream.h"
#include "driver/stream/pipe_stream.h"
#include "driver/stream/serial_stream.h"
#include "driver/stream/tcp_stream.h"
#include "support/open_descriptors.h"
#include "support/pty_pair.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using boost::asio::ip::tcp;
using std::chrono::milliseconds;

Deadline in(milliseconds time) { return std::chrono::steady_clock::now() + time; }
Deadline late() { return in(milliseconds(20'000)); }

StreamPair pipe_ends(boost::asio::io_context& io) { return make_pipe(io.get_executor()); }

StreamPair pty_ends(boost::asio::io_context& io) {
  auto pty = tests::open_pty(io.get_executor());
  auto port = open_serial(io.get_executor(), pty.slave_path, {});
  if (!port) throw std::runtime_error(port.error().detail);
  return {*std::move(port), std::move(pty.master)};
}

void nothing(tcp::socket& /*socket*/) {}

StreamPair tcp_ends(boost::asio::io_context& io) {
  tcp::acceptor acceptor(io, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
  std::optional<base::Result<std::unique_ptr<ByteStream>>> near;
  const TcpAddress address{"127.0.0.1", acceptor.local_endpoint().port()};
  tests::start(io, open_tcp(io.get_executor(), address, late()), near);
  tests::run_until(io, [&] { return near.has_value(); });
  if (!*near) throw std::runtime_error(near->error().detail);
  const AsioStreamHooks<tcp::socket> hooks{.discard = nothing, .before_close = nullptr};
  return {**std::move(near), std::make_unique<AsioStream<tcp::socket>>(acceptor.accept(), "far end", hooks)};
}

struct Kind {
  const char* name;
  StreamPair (*make)(boost::asio::io_context&);
};

class ByteStreamContract : public ::testing::TestWithParam<Kind> {
 protected:
  ByteStreamContract() : ends_(GetParam().make(io_)) {}
  std::vector<std::byte> read_exactly(ByteStream& from, std::size_t count) {
    std::vector<std::byte> all;
    std::array<std::byte, 4096> buffer{};
    while (all.size() < count) {
      const std::size_t most = std::min(buffer.size(), count - all.size());
      const auto got = tests::run(io_, from.read_some(std::span(buffer).first(most), late()));
      if (!got) {
        ADD_FAILURE() << got.error().detail;
        break;
      }
      all.insert(all.end(), buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(*got));
    }
    return all;
  }
  boost::asio::io_context io_;
  StreamPair ends_;
};

std::vector<std::byte> pattern(std::size_t size) {
  std::vector<std::byte> bytes(size);
  for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::byte>((i + i / 251) % 256);
  return bytes;
}

TEST_P(ByteStreamContract, EveryByteValueArrivesUnchangedBothWays) {
  const auto sent = pattern(1000);
  ASSERT_TRUE(tests::run(io_, ends_.near->write(sent, late())).has_value());
  EXPECT_EQ(read_exactly(*ends_.far, sent.size()), sent);
  ASSERT_TRUE(tests::run(io_, ends_.far->write(sent, late())).has_value());
  EXPECT_EQ(read_exactly(*ends_.near, sent.size()), sent);
}

TEST_P(ByteStreamContract, AWriteLargerThanAnyBufferArrivesWhole) {
  const auto sent = pattern(300'000);
  std::optional<base::Outcome> written;
  tests::start(io_, ends_.near->write(sent, late()), written);
  EXPECT_EQ(read_exactly(*ends_.far, sent.size()), sent);
  tests::run_until(io_, [&] { return written.has_value(); });
  EXPECT_TRUE(written->has_value());
}

TEST_P(ByteStreamContract, ADeadlineThatPassesLosesNothing) {
  std::array<std::byte, 16> buffer{};
  for (int turn = 0; turn < 3; ++turn) {
    const auto before = std::chrono::steady_clock::now();
    const auto got = tests::run(io_, ends_.near->read_some(buffer, in(milliseconds(15))));
    ASSERT_FALSE(got.has_value());
    EXPECT_EQ(got.error().code, ErrorCode::kNoReply);
    EXPECT_GE(std::chrono::steady_clock::now() - before, milliseconds(15));
  }
  const auto sent = pattern(5);
  ASSERT_TRUE(tests::run(io_, ends_.far->write(sent, late())).has_value());
  EXPECT_EQ(read_exactly(*ends_.near, 5), sent);
}

TEST_P(ByteStreamContract, DiscardThrowsAwayWhatArrivedAndNothingElse) {
  ASSERT_TRUE(tests::run(io_, ends_.far->write(pattern(20), late())).has_value());
  read_exactly(*ends_.near, 1);  // the rest has arrived with it
  ends_.near->discard_input();
  const std::vector<std::byte> fresh{std::byte{0xEE}};
  ASSERT_TRUE(tests::run(io_, ends_.far->write(fresh, late())).has_value());
  EXPECT_EQ(read_exactly(*ends_.near, 1), fresh);
}

TEST_P(ByteStreamContract, AWriteThatNobodyTakesEndsAtItsDeadline) {
  const auto sent = pattern(16'000'000);
  const auto written = tests::run(io_, ends_.near->write(sent, in(milliseconds(50))));
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().code, ErrorCode::kNoReply) << written.error().detail;
}

TEST_P(ByteStreamContract, AFarEndThatIsGoneIsDisconnected) {
  ends_.far->close();
  ends_.far.reset();
  std::array<std::byte, 16> buffer{};
  const auto got = tests::run(io_, ends_.near->read_some(buffer, late()));
  ASSERT_FALSE(got.has_value());
  EXPECT_EQ(got.error().code, ErrorCode::kDisconnected) << got.error().detail;
  std::optional<base::Error> error;  // a socket may take a first write before it knows
  for (int turn = 0; turn < 100 && !error; ++turn) {
    const auto written = tests::run(io_, ends_.near->write(pattern(100), late()));
    if (!written) error = written.error();
  }
  ASSERT_TRUE(error.has_value());
  EXPECT_EQ(error->code, ErrorCode::kDisconnected) << error->detail;
}

TEST_P(ByteStreamContract, CloseEndsAWaitingReadAndEverythingAfter) {
  std::array<std::byte, 16> buffer{};
  std::optional<base::Result<std::size_t>> got;
  tests::start(io_, ends_.near->read_some(buffer, late()), got);
  tests::settle(io_);
  ends_.near->close();
  ends_.near->close();
  tests::run_until(io_, [&] { return got.has_value(); });
  EXPECT_EQ(got->error().code, ErrorCode::kDisconnected);
  EXPECT_EQ(tests::run(io_, ends_.near->read_some(buffer, late())).error().code, ErrorCode::kDisconnected);
  EXPECT_EQ(tests::run(io_, ends_.near->write(pattern(1), late())).error().code, ErrorCode::kDisconnected);
  ends_.near->discard_input();
  EXPECT_FALSE(ends_.near->describe().empty());
}

TEST_P(ByteStreamContract, DestroyedWhileAReadWaitsTheReadStillEnds) {
  std::array<std::byte, 16> buffer{};
  std::optional<base::Result<std::size_t>> got;
  tests::start(io_, ends_.near->read_some(buffer, late()), got);
  tests::settle(io_);
  ends_.near.reset();
  tests::run_until(io_, [&] { return got.has_value(); });
  EXPECT_EQ(got->error().code, ErrorCode::kDisconnected);
}

TEST_P(ByteStreamContract, ManyReconnectionsLeakNoDescriptor) {
  tests::settle(io_);
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 300; ++turn) {
    auto again = GetParam().make(io_);
    ASSERT_TRUE(tests::run(io_, again.near->write(pattern(3), late())).has_value());
    if (turn % 2 == 0) again.near->close();  // the other half by destruction alone
  }
  tests::settle(io_);
  EXPECT_EQ(tests::open_descriptors(), before);
}

INSTANTIATE_TEST_SUITE_P(Streams, ByteStreamContract,
                         ::testing::Values(Kind{"pipe", pipe_ends}, Kind{"pty", pty_ends},
                                           Kind{"tcp", tcp_ends}),
                         [](const auto& tested) { return std::string(tested.param.name); });

}  // namespace
}  // namespace crestgate::driver
