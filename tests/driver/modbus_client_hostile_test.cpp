// SPDX-License-Identifier: Apache-2.0
// The client against servers that no polite peer would be. Nothing hangs, nothing throws, nothing leaks.

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>

#include "driver/modbus_client_bench.h"
#include "driver/signal/modbus/backoff.h"
#include "driver/signal/modbus/modbus_client.h"
#include "support/open_descriptors.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;

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

}  // namespace
}  // namespace crestgate::driver
