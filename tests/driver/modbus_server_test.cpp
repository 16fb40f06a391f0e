// SPDX-License-Identifier: Apache-2.0
// Raw sockets against the server: what polite peers never send. Expected answers: Modbus Application Protocol
// Specification V1.1b3 section 6 and 7.

#include "driver/signal/modbus/modbus_server.h"

#include <array>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

#include "driver/served_modbus.h"
#include "driver/signal/modbus/request_check.h"
#include "support/accepted_signal.h"
#include "support/open_descriptors.h"
#include "support/tcp_client.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using Bytes = std::vector<std::uint8_t>;
using tests::TcpClient;

Bytes request(const Bytes& pdu, std::uint8_t unit = 1, std::uint16_t transaction = 0x0102) {
  Bytes bytes{static_cast<std::uint8_t>(transaction >> 8U),
              static_cast<std::uint8_t>(transaction & 0xFFU),
              0,
              0,
              0,
              static_cast<std::uint8_t>(pdu.size() + 1),
              unit};
  bytes.insert(bytes.end(), pdu.begin(), pdu.end());
  return bytes;
}
Bytes exception(std::uint8_t function, std::uint8_t code, std::uint8_t unit = 1) {
  return {1, 2, 0, 0, 0, 3, unit, static_cast<std::uint8_t>(function | 0x80U), code};
}
const Bytes kReadVerdict{4, 0, 6, 0, 1};

class ModbusServerTest : public ServedModbus {
 protected:
  void SetUp() override {
    ModbusServerOptions options;
    options.connection_limit = 8;
    options.frame_timeout = milliseconds(200);
    options.write_timeout = milliseconds(300);
    serve(options);
  }
  void show(const base::CellSignal& signal) {
    on_loop([&] { EXPECT_TRUE(server_->apply(signal).has_value()); });
  }
  Bytes ask(TcpClient& client, const Bytes& pdu, std::size_t answer_size) {
    client.send(request(pdu));
    return client.receive(answer_size);
  }
  void expect_works(TcpClient& client) { EXPECT_EQ(ask(client, kReadVerdict, 11).size(), 11U); }
};

base::CellSignal accepted() { return tests::accepted(5); }

TEST_F(ModbusServerTest, BeforeTheFirstStateNothingIsAccepted) {
  TcpClient client(port_);
  EXPECT_EQ(ask(client, kReadVerdict, 11), (Bytes{1, 2, 0, 0, 0, 5, 1, 4, 2, 0, 0}));
}

TEST_F(ModbusServerTest, TheVerdictIsReadInBothPlaces) {
  show(accepted());
  TcpClient client(port_);
  EXPECT_EQ(ask(client, kReadVerdict, 11), (Bytes{1, 2, 0, 0, 0, 5, 1, 4, 2, 0xA5, 0xC3}));
  EXPECT_EQ(ask(client, {3, 0, 106, 0, 1}, 11), (Bytes{1, 2, 0, 0, 0, 5, 1, 3, 2, 0xA5, 0xC3}));
}

TEST_F(ModbusServerTest, OneByteThenSilenceDelaysNobodyAndIsClosed) {
  TcpClient slow(port_);
  slow.send({0});
  TcpClient other(port_);
  const auto before = std::chrono::steady_clock::now();
  expect_works(other);
  EXPECT_LT(std::chrono::steady_clock::now() - before, milliseconds(150));
  EXPECT_TRUE(slow.is_closed());
  EXPECT_EQ(counters().frame_timeouts, 1U);
}

TEST_F(ModbusServerTest, BytesThatTrickleInAreOneRequest) {
  TcpClient client(port_);
  for (const std::uint8_t byte : request(kReadVerdict)) client.send({byte});
  EXPECT_EQ(client.receive(11).size(), 11U);
}

TEST_F(ModbusServerTest, TwoRequestsInOneSegmentGetTwoAnswersInOrder) {
  TcpClient client(port_);
  Bytes two = request(kReadVerdict, 1, 7);
  const Bytes second = request({3, 0, 0, 0, 1}, 1, 8);
  two.insert(two.end(), second.begin(), second.end());
  client.send(two);
  const Bytes answers = client.receive(22);
  ASSERT_EQ(answers.size(), 22U);
  EXPECT_EQ(answers[1], 7);
  EXPECT_EQ(answers[12], 8);
}

TEST_F(ModbusServerTest, AHeaderThatIsNoneClosesTheConnection) {
  for (const Bytes& header :
       {Bytes{0, 1, 0, 1, 0, 6, 1}, Bytes{0, 1, 0, 0, 0, 1, 1}, Bytes{0, 1, 0, 0, 0, 0, 1},
        Bytes{0, 1, 0, 0, 0, 255, 1}, Bytes{0, 1, 0, 0, 255, 255, 1}}) {
    TcpClient client(port_);
    client.send(header);
    EXPECT_TRUE(client.is_closed());
  }
  EXPECT_EQ(counters().bad_headers, 5U);
}

TEST_F(ModbusServerTest, IllegalRequestsAreAnsweredAtOnceWithTheirException) {
  struct Case {
    Bytes pdu;
    std::uint8_t code;
  };
  Bytes lying_count{16, 0, 0, 0, 2, 2, 0, 1};  // two registers, two bytes
  Bytes lying_bytes{16, 0, 0, 0, 1, 4, 0, 1};  // one register, four bytes announced, two there
  const std::vector<Case> cases = {
      {{0x2B, 14, 1, 0}, 1},
      {{1, 0, 0, 0, 1}, 1},
      {{5, 0, 0, 0xFF, 0}, 1},
      {{0x07}, 1},
      {{0x11}, 1},
      {{22, 0, 0, 0, 0, 0, 0}, 1},
      {{0}, 1},
      {{0x84, 0, 6, 0, 1}, 1},
      {{4, 0, 0, 0, 0}, 3},
      {{4, 0, 0, 0, 126}, 3},
      {{3, 0, 0, 0xFF, 0xFF}, 3},
      {{4, 0, 6, 0}, 3},
      {{4, 0, 6, 0, 1, 0}, 3},
      {lying_count, 3},
      {lying_bytes, 3},
      {{4, 0, 75, 0, 1}, 2},
      {{4, 0, 0, 0, 76}, 2},
      {{3, 0, 64, 0, 1}, 2},
      {{3, 0, 60, 0, 50}, 2},
      {{3, 0xFF, 0xFF, 0, 2}, 2},
      {{6, 0, 64, 0, 1}, 2},
      {{6, 0, 106, 0xA5, 0xC3}, 2},
      {{16, 0, 106, 0, 1, 2, 0xA5, 0xC3}, 2},
      {{16, 0, 63, 0, 2, 4, 0, 0, 0, 0}, 2},
      {{23, 0, 0, 0, 1, 0, 106, 0, 1, 2, 0, 0}, 2},
      {{23, 0, 90, 0, 1, 0, 0, 0, 1, 2, 0, 0}, 2},
      {{23, 0, 0, 0, 1, 0, 0, 0, 1, 4, 0, 0}, 3},
  };
  TcpClient client(port_);
  for (const Case& c : cases) {
    const auto before = std::chrono::steady_clock::now();
    EXPECT_EQ(ask(client, c.pdu, 9), exception(c.pdu[0], c.code)) << "function " << int{c.pdu[0]};
    EXPECT_LT(std::chrono::steady_clock::now() - before, milliseconds(150));
  }
  expect_works(client);
  EXPECT_EQ(counters().exceptions, cases.size());
  EXPECT_EQ(counters().writes, 0U);
  on_loop([&] { EXPECT_TRUE(seen_.empty()); });
}

TEST_F(ModbusServerTest, OnlyOurUnitIsAnswered) {
  TcpClient client(port_);
  for (const int unit : {0, 1, 255}) {
    client.send(request(kReadVerdict, static_cast<std::uint8_t>(unit)));
    const Bytes answer = client.receive(11);
    ASSERT_EQ(answer.size(), 11U);
    EXPECT_EQ(answer[6], unit);
  }
  client.send(request(kReadVerdict, 77));
  EXPECT_EQ(client.receive(9), exception(4, 10, 77));
}

TEST_F(ModbusServerTest, AWriteArrivesAsInputsAndIsReadBack) {
  TcpClient client(port_);
  EXPECT_EQ(ask(client, {16, 0, 0, 0, 3, 6, 0, 1, 0, 17, 0, 1}, 12),
            (Bytes{1, 2, 0, 0, 0, 6, 1, 16, 0, 0, 0, 3}));
  EXPECT_EQ(ask(client, {6, 0, 5, 0, 3}, 12), (Bytes{1, 2, 0, 0, 0, 6, 1, 6, 0, 5, 0, 3}));
  EXPECT_EQ(ask(client, {3, 0, 0, 0, 6}, 21),
            (Bytes{1, 2, 0, 0, 0, 15, 1, 3, 12, 0, 1, 0, 17, 0, 1, 0, 0, 0, 0, 0, 3}));
  on_loop([&] {
    ASSERT_EQ(seen_.size(), 2U);
    EXPECT_EQ(seen_[0].request_id, 17);
    EXPECT_TRUE(seen_[0].part_present);
    EXPECT_EQ(seen_[1].recipe, 3);
    EXPECT_EQ(server_->inputs(), seen_[1]);
  });
}

TEST_F(ModbusServerTest, Function23WritesAndReadsInOneRequest) {
  show(accepted());
  TcpClient client(port_);
  const Bytes answer = ask(client, {23, 0, 100, 0, 75, 0, 0, 0, 2, 4, 0, 9, 0, 18}, 9 + 150);
  ASSERT_EQ(answer.size(), 159U);
  EXPECT_EQ(answer[8], 150);
  EXPECT_EQ(answer[9 + 12], 0xA5);
  EXPECT_EQ(answer[9 + 13], 0xC3);
  on_loop([&] {
    ASSERT_EQ(seen_.size(), 1U);
    EXPECT_EQ(seen_[0].heartbeat, 9);
    EXPECT_EQ(seen_[0].request_id, 18);
  });
}

TEST_F(ModbusServerTest, AClientThatNeverReadsIsClosedAndDelaysNobody) {
  TcpClient deaf(port_);
  deaf.shrink_receive_buffer();
  Bytes many;
  const Bytes one = request({4, 0, 0, 0, 75});
  for (int i = 0; i < 500; ++i) many.insert(many.end(), one.begin(), one.end());
  deaf.flood(many);
  TcpClient other(port_);
  const auto before = std::chrono::steady_clock::now();
  expect_works(other);
  EXPECT_LT(std::chrono::steady_clock::now() - before, milliseconds(250));
  const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(20);
  while (counters().connections > 1 && std::chrono::steady_clock::now() < limit) std::this_thread::yield();
  // Which limit it meets first depends on where the kernel's windows close: within a request or between two.
  EXPECT_EQ(counters().write_timeouts + counters().frame_timeouts, 1U);
  EXPECT_EQ(counters().connections, 1U);
}

TEST_F(ModbusServerTest, FiftyClientsCostTheOldestIdleOnes) {
  TcpClient busy(port_);
  expect_works(busy);
  std::vector<TcpClient> crowd;
  for (int i = 0; i < 50; ++i) {
    crowd.emplace_back(port_);
    expect_works(crowd.back());
    expect_works(busy);
  }
  EXPECT_EQ(counters().connections, 8U);
  EXPECT_EQ(counters().closed_for_room, 43U);
  EXPECT_TRUE(crowd.front().is_closed());
  expect_works(crowd.back());
  expect_works(busy);
}

TEST_F(ModbusServerTest, ManyConnectionsLeakNoDescriptor) {
  const auto wait_for_none = [&] {
    const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(20);
    while (counters().connections > 0 && std::chrono::steady_clock::now() < limit) std::this_thread::yield();
  };
  {
    TcpClient first(port_);
    expect_works(first);
  }
  wait_for_none();
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 500; ++turn) {
    TcpClient client(port_);
    if (turn % 3 != 0) expect_works(client);
  }
  wait_for_none();
  EXPECT_EQ(tests::open_descriptors(), before);
}

TEST_F(ModbusServerTest, StopClosesEveryClientAndTakesNoMore) {
  TcpClient client(port_);
  expect_works(client);
  on_loop([&] {
    server_->stop();
    EXPECT_EQ(server_->apply(accepted()).error().code, base::ErrorCode::kCancelled);
  });
  EXPECT_TRUE(client.is_closed());
  EXPECT_THROW(TcpClient{port_}, std::runtime_error);
}

TEST_F(ModbusServerTest, EveryAnswerIsFromOneSnapshot) {
  std::atomic<bool> stop{false};
  std::thread writer([&] {
    std::uint64_t sequence = 0;
    while (!stop) {
      base::CellSignal signal = accepted();
      signal.sequence = ++sequence;
      signal.judgement_record = static_cast<std::uint32_t>(sequence);
      show(signal);
    }
  });
  TcpClient client(port_);
  for (int turn = 0; turn < 500; ++turn) {
    const Bytes answer = ask(client, {4, 0, 0, 0, 75}, 159);
    ASSERT_EQ(answer.size(), 159U);
    const auto word = [&](std::size_t i) { return answer[9 + 2 * i] * 256 + answer[10 + 2 * i]; };
    ASSERT_EQ(word(0), word(74));
    ASSERT_EQ(word(0), word(33));
  }
  stop = true;
  writer.join();
}

// pymodbus is an implementation of its own (not libmodbus): tests/driver/modbus_peer.py.
TEST_F(ModbusServerTest, AnIndependentPeerReadsAndWritesTheWholeTable) {
  show(accepted());
  const std::string command = "/usr/bin/python3 " + std::string(CRESTGATE_SOURCE_DIR) +
                              "/tests/driver/modbus_peer.py " + std::to_string(port_) + " 2>&1";
  FILE* peer = ::popen(command.c_str(), "re");
  ASSERT_NE(peer, nullptr);
  std::string said;
  std::array<char, 512> line{};
  while (std::fgets(line.data(), static_cast<int>(line.size()), peer) != nullptr) said += line.data();
  EXPECT_EQ(::pclose(peer), 0) << said;
  on_loop([&] {
    ASSERT_FALSE(seen_.empty());
    EXPECT_EQ(seen_.back().identity.part_id, "SHAFT-0815");
    EXPECT_EQ(seen_.back().identity.wheel, 70001U);
    EXPECT_EQ(seen_.back().request_id, 42);
  });
}

TEST(ModbusServerOpening, ErrorsAreInPlainWords) {
  boost::asio::io_context io;
  ModbusServerOptions options;
  options.port = 0;
  const auto first = open_modbus_server(io.get_executor(), options);
  ASSERT_TRUE(first.has_value());
  options.port = (*first)->port();
  const auto second = open_modbus_server(io.get_executor(), options);
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, base::ErrorCode::kBusy);
  options.bind_address = "localhost";
  EXPECT_EQ(open_modbus_server(io.get_executor(), options).error().code, base::ErrorCode::kInvalidConfig);
  EXPECT_TRUE((*first)->falls_by_itself().falls);
}

}  // namespace
}  // namespace crestgate::driver
