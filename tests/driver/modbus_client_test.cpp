// SPDX-License-Identifier: Apache-2.0
// The client against servers that no polite peer would be. Nothing hangs, nothing throws, nothing leaks.

#include "driver/signal/modbus/modbus_client.h"

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>

#include "driver/modbus_device.h"
#include "driver/signal/modbus/backoff.h"
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

constexpr milliseconds kResponse{300};
constexpr milliseconds kMargin{400};  // a loaded machine

class ModbusClientTest : public ::testing::Test {
 protected:
  void open(std::uint16_t port, ModbusClientOptions options = {}) {
    options.host = "127.0.0.1";
    options.port = port;
    options.backoff_shortest = milliseconds(5);
    options.backoff_longest = milliseconds(20);
    auto made = ModbusClient::make(io_.get_executor(), options);
    ASSERT_TRUE(made.has_value()) << made.error().detail;
    client_ = *std::move(made);
  }
  base::Outcome connect() { return tests::run(io_, client_->connect()); }
  base::Result<std::vector<std::uint8_t>> ask(const ModbusQuestion& question) {
    const auto began = steady_clock::now();
    auto answer = tests::run(io_, client_->ask(question));
    EXPECT_LT(steady_clock::now() - began, kResponse + kMargin);
    return answer;
  }
  base::Result<std::vector<std::uint8_t>> ask_one() { return ask(ask_registers(10, 1)); }
  // What a device is asked next must be answered again.
  void expect_recovers(ModbusDevice& device) {
    device.behave(ModbusDevice::polite);
    const auto limit = steady_clock::now() + std::chrono::seconds(10);
    while (steady_clock::now() < limit) {
      if (!client_->connected()) static_cast<void>(connect());
      if (client_->connected() && ask_one()) return;
    }
    ADD_FAILURE() << "it did not come back";
  }

  boost::asio::io_context io_{1};
  std::unique_ptr<ModbusClient> client_;
};

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

struct Hostile {
  const char* name;
  ModbusDevice::Manner manner;
  ErrorCode code;
};

ModbusDevice::Manner damaged(std::size_t at, unsigned change) {
  return [at, change](PeerSocket& peer, const Bytes&, Bytes answer) {
    answer.at(at) = static_cast<std::uint8_t>(answer.at(at) ^ change);
    return peer.send(answer);
  };
}

std::vector<Hostile> hostile_servers() {
  return {
      {"length one too long", damaged(5, 0x01), ErrorCode::kMalformed},
      {"length 65285", damaged(4, 0xFF), ErrorCode::kMalformed},
      {"transaction of the next question", damaged(1, 0x03), ErrorCode::kMalformed},
      {"another protocol", damaged(2, 0x80), ErrorCode::kMalformed},
      {"another unit", damaged(6, 0x02), ErrorCode::kMalformed},
      {"another function", damaged(7, 0x07), ErrorCode::kMalformed},
      {"lying byte count", damaged(8, 0x04), ErrorCode::kMalformed},
      {"closes at once", [](PeerSocket&, const Bytes&, const Bytes&) { return false; },
       ErrorCode::kDisconnected},
      {"closes in mid answer",
       [](PeerSocket& peer, const Bytes&, const Bytes& answer) {
         peer.send({answer.begin(), answer.begin() + 8});
         return false;
       },
       ErrorCode::kDisconnected},
      {"floods zeros",
       [](PeerSocket& peer, const Bytes&, const Bytes&) {
         const Bytes zeros(100'000, 0);
         while (peer.send(zeros)) {
         }
         return false;
       },
       ErrorCode::kMalformed},
      {"floods frames of nobody",
       [](PeerSocket& peer, const Bytes& request, const Bytes&) {
         Bytes flood;
         for (int i = 0; i < 10'000; ++i) {
           const Bytes one = tests::modbus_frame(
               static_cast<std::uint16_t>(request[0] * 256 + request[1] - 1), 1, {3, 2, 0, 0});
           flood.insert(flood.end(), one.begin(), one.end());
         }
         while (peer.send(flood)) {
         }
         return false;
       },
       ErrorCode::kMalformed},
  };
}

TEST_F(ModbusClientTest, NonsenseEndsTheConnectionAndTheNextOneWorks) {
  for (const Hostile& hostile : hostile_servers()) {
    SCOPED_TRACE(hostile.name);
    ModbusDevice device(hostile.manner);
    open(device.port());
    ASSERT_TRUE(connect().has_value());
    const auto answer = ask_one();
    ASSERT_FALSE(answer.has_value());
    EXPECT_EQ(answer.error().code, hostile.code) << answer.error().detail;
    EXPECT_FALSE(client_->connected());
    expect_recovers(device);
  }
}

TEST_F(ModbusClientTest, ExceptionsAreErrorsInWordsAndKeepTheConnection) {
  struct Case {
    std::uint8_t exception;
    ErrorCode code;
    const char* words;
  };
  const std::vector<Case> cases = {{1, ErrorCode::kNotSupported, "illegal function (exception 1)"},
                                   {2, ErrorCode::kOutOfRange, "illegal data address (exception 2)"},
                                   {3, ErrorCode::kRefused, "illegal data value (exception 3)"},
                                   {4, ErrorCode::kDeviceFault, "server device failure (exception 4)"},
                                   {6, ErrorCode::kBusy, "server device busy (exception 6)"},
                                   {11, ErrorCode::kNoReply, "failed to respond (exception 11)"},
                                   {0, ErrorCode::kRefused, "unknown exception (exception 0)"},
                                   {200, ErrorCode::kRefused, "unknown exception (exception 200)"}};
  ModbusDevice device;
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  for (const Case& c : cases) {
    device.behave([c](PeerSocket& peer, const Bytes& request, const Bytes&) {
      return peer.send(tests::modbus_frame(static_cast<std::uint16_t>(request[0] * 256 + request[1]), 1,
                                           {static_cast<std::uint8_t>(request[7] | 0x80U), c.exception}));
    });
    const auto answer = ask_one();
    ASSERT_FALSE(answer.has_value());
    EXPECT_EQ(answer.error().code, c.code);
    EXPECT_NE(answer.error().detail.find(c.words), std::string::npos) << answer.error().detail;
    EXPECT_NE(answer.error().detail.find("reading 1 holding registers from 10"), std::string::npos);
    EXPECT_TRUE(client_->connected());
  }
  EXPECT_EQ(device.connections(), 1U);
  EXPECT_EQ(client_->counters().exceptions, cases.size());
}

TEST_F(ModbusClientTest, AnAnswerThatIsLateIsThrownAway) {
  ModbusDevice device;
  device.set_registers(10, {111, 222});
  device.behave([](PeerSocket& peer, const Bytes&, const Bytes& answer) {
    std::this_thread::sleep_for(milliseconds(400));
    return peer.send(answer);
  });
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  EXPECT_EQ(ask(ask_registers(10, 1)).error().code, ErrorCode::kNoReply);
  EXPECT_TRUE(client_->connected());
  device.behave(ModbusDevice::polite);
  const auto next = ask(ask_registers(11, 1));  // the answer about register 10 comes first, 100 ms from now
  ASSERT_TRUE(next.has_value()) << next.error().detail;
  EXPECT_EQ(unpack_registers(*next), std::vector<std::uint16_t>{222});
  EXPECT_EQ(client_->counters().late, 1U);
  EXPECT_EQ(device.connections(), 1U);
}

TEST_F(ModbusClientTest, AServerThatIsAlwaysLateNeverAnswersAnotherQuestion) {
  ModbusDevice device([](PeerSocket& peer, const Bytes&, const Bytes& answer) {
    std::this_thread::sleep_for(milliseconds(400));
    return peer.send(answer);
  });
  open(device.port());
  for (int turn = 0; turn < 6; ++turn) {
    ASSERT_TRUE(client_->connected() || connect().has_value());
    const auto answer = ask_one();
    ASSERT_FALSE(answer.has_value());
    EXPECT_EQ(answer.error().code, ErrorCode::kNoReply) << answer.error().detail;
  }
  EXPECT_EQ(client_->counters().answers, 0U);
  EXPECT_EQ(client_->counters().malformed, 0U);
  expect_recovers(device);
}

TEST_F(ModbusClientTest, SilenceThreeTimesInARowEndsTheConnection) {
  ModbusDevice device([](PeerSocket&, const Bytes&, const Bytes&) { return true; });
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  for (int turn = 0; turn < 3; ++turn) {
    EXPECT_TRUE(client_->connected());
    EXPECT_EQ(ask_one().error().code, ErrorCode::kNoReply);
  }
  EXPECT_FALSE(client_->connected());
  expect_recovers(device);
}

TEST_F(ModbusClientTest, WhatNobodyAskedForEndsTheConnection) {
  ModbusDevice device;
  device.greet_with(tests::modbus_frame(5, 1, {3, 2, 0, 0}));
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  EXPECT_EQ(ask_one().error().code, ErrorCode::kMalformed);
  EXPECT_FALSE(client_->connected());
  device.greet_with({});
  expect_recovers(device);
}

TEST_F(ModbusClientTest, ASecondAnswerToTheSameQuestionEndsTheConnection) {
  ModbusDevice device([](PeerSocket& peer, const Bytes&, Bytes answer) {
    const Bytes once = answer;
    answer.insert(answer.end(), once.begin(), once.end());
    return peer.send(answer);
  });
  open(device.port());
  ASSERT_TRUE(connect().has_value());
  EXPECT_TRUE(ask_one().has_value());
  EXPECT_EQ(ask_one().error().code, ErrorCode::kMalformed);
  expect_recovers(device);
}

// Makes the kernel take few bytes from this process for the connection to `port`.
void shrink_send_buffer(std::uint16_t port) {
  for (int fd = 0; fd < 1024; ++fd) {
    sockaddr_in peer{};
    socklen_t size = sizeof peer;
    if (::getpeername(fd, reinterpret_cast<sockaddr*>(&peer), &size) != 0) continue;
    const int small = 1;
    if (ntohs(peer.sin_port) == port) ::setsockopt(fd, SOL_SOCKET, SO_SNDBUF, &small, sizeof small);
  }
}

class DeafPeer : public ModbusClientTest {
 protected:
  DeafPeer() {
    const int small = 1;  // inherited by what is accepted: its kernel accepts, nobody reads
    ::setsockopt(deaf_.fd(), SOL_SOCKET, SO_RCVBUF, &small, sizeof small);
  }
  void connect_to_it() {
    open(deaf_.port(), {.host = {}, .response_timeout = milliseconds(5), .unanswered_limit = 1000});
    ASSERT_TRUE(connect().has_value());
    shrink_send_buffer(deaf_.port());
  }
  tests::Listener deaf_;
  std::vector<std::uint16_t> words_ = std::vector<std::uint16_t>(123, 1);
};

TEST_F(DeafPeer, IsGivenUpWhenItsConnectionIsFull) {
  connect_to_it();
  std::string last;
  for (int turn = 0; turn < 200 && client_->connected(); ++turn) {
    last = ask(tell_registers(0, words_)).error().detail;
  }
  EXPECT_FALSE(client_->connected());
  EXPECT_NE(last.find("it takes no more bytes"), std::string::npos) << last;
}

// Whether the last request still fits, or one is stuck half sent: it ends.
TEST_F(DeafPeer, CanBeLeftAtAnyMoment) {
  std::size_t fitted = 0;
  std::size_t stuck = 0;
  for (int filled = 0; filled < 40; ++filled) {
    connect_to_it();
    for (int turn = 0; turn < filled && client_->connected(); ++turn)
      static_cast<void>(ask(tell_registers(0, words_)));
    if (!client_->connected()) break;
    std::optional<base::Result<std::vector<std::uint8_t>>> answer;
    tests::start(io_, client_->ask(tell_registers(0, words_)), answer);
    tests::settle(io_);
    ++(client_->leave(tell_registers(0, words_)) ? fitted : stuck);
    tests::run_until(io_, [&] { return answer.has_value(); });
    EXPECT_EQ(answer->error().code, ErrorCode::kCancelled);
    boost::asio::co_spawn(io_, client_->finish(), [](const std::exception_ptr& error) {
      if (error) std::rethrow_exception(error);
    });
    tests::run_until(io_, [&] { return !client_->connected(); });
  }
  EXPECT_GT(fitted, 0U);
  EXPECT_GT(stuck, 0U);
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

// Everything else on the same thread goes on while a server misbehaves.
TEST_F(ModbusClientTest, NothingEverBlocksTheLoop) {
  for (const Hostile& hostile : hostile_servers()) {
    SCOPED_TRACE(hostile.name);
    ModbusDevice device(hostile.manner);
    open(device.port());
    ASSERT_TRUE(connect().has_value());
    std::optional<base::Result<std::vector<std::uint8_t>>> answer;
    tests::start(io_, client_->ask(ask_registers(0, 1)), answer);
    milliseconds longest{0};
    while (!answer) {
      const auto began = steady_clock::now();
      if (io_.stopped()) io_.restart();
      io_.poll_one();
      longest = std::max(longest, std::chrono::duration_cast<milliseconds>(steady_clock::now() - began));
    }
    EXPECT_LT(longest, milliseconds(250));  // a blocking wait would last the 300 ms of an answer
  }
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
