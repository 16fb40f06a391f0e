// SPDX-License-Identifier: Apache-2.0
// The client with a polite device, its connections and its end; hostile ones: modbus_client_hostile_test.cpp.

#include "driver/signal/modbus/modbus_client.h"

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>

#include "driver/modbus_client_bench.h"
#include "driver/signal/modbus/backoff.h"
#include "support/open_descriptors.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;

TEST_F(ModbusClientTest, WritesAndReadsRegistersAndCoils) {
  ModbusDevice device;
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  std::vector<std::uint16_t> words;
  for (std::uint16_t i = 0; i < 123; ++i) words.push_back(static_cast<std::uint16_t>(0xA500 + i));
  ASSERT_TRUE(ask(tell_registers(100, words)).has_value());
  EXPECT_EQ(device.registers(100, 123), words);
  const auto read = ask(ask_registers(100, 123));
  ASSERT_TRUE(read.has_value());
  EXPECT_EQ(unpack_registers(*read), words);
  const std::vector<bool> lit{true, false, true, true, false, false, false, false, true};
  ASSERT_TRUE(ask(tell_coils(7, lit)).has_value());
  EXPECT_EQ(device.coils(7, 9), lit);
  const auto coils = ask(ask_coils(7, 9));
  ASSERT_TRUE(coils.has_value());
  EXPECT_EQ(unpack_coils(*coils, 9), lit);
}

TEST_F(ModbusClientTest, AnswersByteByByteAreAnswers) {
  ModbusDevice device([](PeerSocket& peer, const Bytes&, const Bytes& answer) {
    for (const std::uint8_t byte : answer) peer.send({byte});
    return true;
  });
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  for (int turn = 0; turn < 20; ++turn) ASSERT_TRUE(ask_one().has_value());
}

TEST_F(ModbusClientTest, RefusalsAreWaitedOutAndSaid) {
  std::uint16_t port = 0;
  {
    const tests::Listener gone;
    port = gone.port();
  }
  open(port);
  for (int turn = 0; turn < 5; ++turn) {
    const base::Outcome connected = connect();
    ASSERT_FALSE(connected.has_value());
    EXPECT_EQ(connected.error().code, ErrorCode::kDisconnected);
  }
  EXPECT_EQ(client_->counters().connect_failed, 5U);
  EXPECT_EQ(ask_one().error().code, ErrorCode::kDisconnected);
}

TEST_F(ModbusClientTest, ThreeHundredReconnectsLeakNoDescriptor) {
  ModbusDevice device([](PeerSocket&, const Bytes&, const Bytes&) { return false; });
  open(device.port(), {.host = {}, .connect_timeout = milliseconds(5000)});
  std::size_t before = 0;
  for (int turn = 0; turn < 300; ++turn) {
    ASSERT_TRUE(connect().has_value());
    EXPECT_FALSE(ask_one().has_value());
    ASSERT_FALSE(client_->connected());
    if (turn == 0) before = tests::open_descriptors();
  }
  EXPECT_LE(tests::open_descriptors(), before + 1);  // the device may hold its end a moment longer
  EXPECT_EQ(client_->counters().lost, 300U);
  expect_recovers(device);
}

TEST_F(ModbusClientTest, LeavingEndsAWaitAndStillSendsTheLastWord) {
  ModbusDevice device([](PeerSocket&, const Bytes&, const Bytes&) { return true; });
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  std::optional<base::Result<std::vector<std::uint8_t>>> answer;
  tests::start(io_, client_->ask(ask_registers(0, 1)), answer);
  tests::run_until(io_, [&] { return device.requests().size() == 1; });
  device.behave(ModbusDevice::polite);
  const std::vector<std::uint16_t> words{42};
  EXPECT_TRUE(client_->leave(tell_registers(5, words)));
  EXPECT_TRUE(client_->leave(tell_registers(6, words)));
  tests::run_until(io_, [&] { return answer.has_value(); });
  EXPECT_EQ(answer->error().code, ErrorCode::kCancelled);
  const auto began = steady_clock::now();
  boost::asio::co_spawn(io_, client_->finish(), [](const std::exception_ptr& error) {
    if (error) std::rethrow_exception(error);
  });
  tests::run_until(io_, [&] { return !client_->connected(); });
  EXPECT_LT(steady_clock::now() - began, kResponse + kMargin);
  EXPECT_EQ(device.registers(5, 2), (std::vector<std::uint16_t>{42, 0}));
  EXPECT_EQ(tests::run(io_, client_->ask(ask_registers(0, 1))).error().code, ErrorCode::kCancelled);
  EXPECT_EQ(tests::run(io_, client_->connect()).error().code, ErrorCode::kCancelled);
}

TEST_F(ModbusClientTest, TheLastWordGoesOutEvenIfNobodyRunsTheLoopAgain) {
  ModbusDevice device;
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  const std::vector<std::uint16_t> words{42};
  EXPECT_TRUE(client_->leave(tell_registers(5, words)));
  client_.reset();
  const auto limit = steady_clock::now() + std::chrono::seconds(10);
  while (device.registers(5, 1)[0] != 42 && steady_clock::now() < limit) std::this_thread::yield();
  EXPECT_EQ(device.registers(5, 1)[0], 42);
}

// A write that is stuck in a line that was given up must not arrive after the writes of the next one.
TEST_F(ModbusClientTest, AConnectionThatIsGivenUpIsReset) {
  tests::Listener listener;
  open(listener.port(), {.host = {}, .unanswered_limit = 1});
  ASSERT_TRUE(connect().has_value());
  PeerSocket peer = listener.accept(std::chrono::seconds(5));
  ASSERT_GE(peer.fd(), 0);
  EXPECT_EQ(ask_one().error().code, ErrorCode::kNoReply);
  ASSERT_FALSE(client_->connected());
  EXPECT_EQ(peer.receive(12).size(), 12U);
  std::uint8_t byte = 0;
  EXPECT_EQ(::recv(peer.fd(), &byte, 1, 0), -1);
  EXPECT_EQ(errno, ECONNRESET);
}

TEST(ModbusClientOptionsTest, BadOptionsAreSaidInPlainWords) {
  boost::asio::io_context io;
  const auto code = [&](const ModbusClientOptions& options) {
    const auto made = ModbusClient::make(io.get_executor(), options);
    return made ? std::optional<ErrorCode>() : made.error().code;
  };
  EXPECT_EQ(code({.host = "plc"}), ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.host = "127.0.0.1", .port = 0}), ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.host = "127.0.0.1", .unit = 248}), ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.host = "127.0.0.1", .response_timeout = milliseconds(0)}), ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.host = "127.0.0.1", .backoff_longest = milliseconds(1)}), ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.host = "::1", .unit = 255}), std::nullopt);
}

TEST(BackoffTest, WaitsGrowFromHalfASecondToFiveSecondsAndDiffer) {
  Backoff backoff(milliseconds(500), milliseconds(5000), 1);
  Backoff other(milliseconds(500), milliseconds(5000), 2);
  bool differs = false;
  milliseconds last{0};
  for (int turn = 0; turn < 100; ++turn) {
    last = backoff.next();
    EXPECT_GE(last, milliseconds(500));
    EXPECT_LE(last, milliseconds(5000));
    EXPECT_TRUE(turn <= 5 || last >= milliseconds(3000));
    differs = differs || last != other.next();
  }
  EXPECT_TRUE(differs);
  backoff.reset();
  EXPECT_LE(backoff.next(), milliseconds(750));
}

}  // namespace
}  // namespace crestgate::driver
