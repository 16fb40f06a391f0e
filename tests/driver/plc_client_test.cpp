// SPDX-License-Identifier: Apache-2.0
// The line to a PLC that is only a server. Addresses and words: the register page (protocol/registers).

#include "driver/signal/modbus/plc_client.h"

#include <algorithm>
#include <sstream>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/modbus_device.h"
#include "driver/python_peer.h"
#include "support/accepted_signal.h"
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

constexpr std::uint16_t kCellAt = 1000;
constexpr std::uint16_t kPlcAt = 2000;
constexpr std::uint16_t kAccept = 0xA5C3;

PlcClientOptions options_for(std::uint16_t port) {
  PlcClientOptions options;
  options.peer.host = "127.0.0.1";
  options.peer.port = port;
  options.peer.backoff_shortest = milliseconds(5);
  options.peer.backoff_longest = milliseconds(20);
  options.cell_block = kCellAt;
  options.plc_block = kPlcAt;
  return options;
}

base::CellSignal accepted(std::uint64_t sequence = 5) { return tests::accepted(sequence); }

std::uint16_t word(const Bytes& pdu, std::size_t index) {
  return static_cast<std::uint16_t>(pdu.at(6 + 2 * index) * 256 + pdu.at(7 + 2 * index));
}

class PlcClientTest : public ::testing::Test {
 protected:
  void open(const PlcClientOptions& options) {
    auto made = make_plc_client(io_.get_executor(), options);
    ASSERT_TRUE(made.has_value()) << made.error().detail;
    client_ = *std::move(made);
    client_->on_inputs([this](const base::PlcInputs& inputs) { heard_.push_back(inputs); });
  }
  template <class Condition>
  void until(Condition condition) {
    tests::run_until(io_, condition);
  }
  void link_up() {
    until([&] { return !client_->trouble().has_value(); });
  }
  void run_for(milliseconds time) {
    io_.restart();
    io_.run_for(time);
  }
  static std::uint16_t verdict(const ModbusDevice& device) { return device.registers(kCellAt + 6, 1)[0]; }
  static std::vector<Bytes> writes(const ModbusDevice& device) {
    std::vector<Bytes> all = device.requests();
    std::erase_if(all, [](const Bytes& pdu) { return pdu[0] != 16; });
    return all;
  }

  boost::asio::io_context io_{1};
  std::unique_ptr<PlcClient> client_;
  std::vector<base::PlcInputs> heard_;
};

TEST_F(PlcClientTest, WritesTheWholeBlockInOneRequest) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  EXPECT_EQ(verdict(plc), 0);
  ASSERT_TRUE(client_->apply(accepted()).has_value());
  until([&] { return verdict(plc) == kAccept; });
  const std::vector<std::uint16_t> block = plc.registers(kCellAt, 75);
  EXPECT_EQ(block[0], 5);
  EXPECT_EQ(block[74], 5);
  EXPECT_EQ(block[69], 0x47F1);  // 123456.0
  EXPECT_EQ(block[70], 0x2000);
  for (const Bytes& pdu : writes(plc)) {
    EXPECT_EQ(Bytes(pdu.begin(), pdu.begin() + 6), (Bytes{16, 0x03, 0xE8, 0, 75, 150}));
    EXPECT_EQ(word(pdu, 0), word(pdu, 74));
  }
}

TEST_F(PlcClientTest, AChangeGoesOutAtOnce) {
  ModbusDevice plc;
  PlcClientOptions options = options_for(plc.port());
  options.every = milliseconds(500);
  options.plc_block.reset();
  open(options);
  link_up();
  for (std::uint64_t sequence = 1; sequence <= 5; ++sequence) {
    run_for(milliseconds(20));
    const auto began = steady_clock::now();
    ASSERT_TRUE(client_->apply(accepted(sequence)).has_value());
    until([&] { return plc.registers(kCellAt, 1)[0] == sequence; });
    EXPECT_LT(steady_clock::now() - began, milliseconds(400));
  }
}

TEST_F(PlcClientTest, AnUnchangedBlockIsWrittenAgainEveryHundredMilliseconds) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  run_for(milliseconds(150));
  plc.forget_requests();
  run_for(milliseconds(1000));
  EXPECT_GE(writes(plc).size(), 6U);
  EXPECT_LE(writes(plc).size(), 12U);
}

TEST_F(PlcClientTest, HandsThePlcsBlockOutWhileTheLinkStands) {
  auto plc = std::make_unique<ModbusDevice>();
  const std::uint16_t port = plc->port();
  plc->set_registers(kPlcAt, {7, 42, 1, 0, 0, 3});
  open(options_for(port));
  until([&] { return !heard_.empty(); });
  EXPECT_EQ(heard_.back().heartbeat, 7);
  EXPECT_EQ(heard_.back().request_id, 42);
  EXPECT_TRUE(heard_.back().part_present);
  EXPECT_EQ(heard_.back().recipe, 3);
  EXPECT_FALSE(heard_.back().contested);
  plc->set_registers(kPlcAt, {8, 43});
  until([&] { return heard_.back().request_id == 43; });
  plc.reset();
  until([&] { return client_->trouble().has_value(); });
  const std::size_t before = heard_.size();
  run_for(milliseconds(500));
  EXPECT_EQ(heard_.size(), before);
}

TEST_F(PlcClientTest, WithoutAPlcBlockNothingIsRead) {
  ModbusDevice plc;
  PlcClientOptions options = options_for(plc.port());
  options.plc_block.reset();
  open(options);
  link_up();
  run_for(milliseconds(300));
  EXPECT_TRUE(heard_.empty());
  EXPECT_EQ(writes(plc).size(), plc.requests().size());
}

TEST_F(PlcClientTest, AnAcceptOfATimeWithoutLinkIsNotShownWhenItComesBack) {
  auto plc = std::make_unique<ModbusDevice>();
  const std::uint16_t port = plc->port();
  open(options_for(port));
  link_up();
  ASSERT_TRUE(client_->apply(accepted(5)).has_value());
  until([&] { return verdict(*plc) == kAccept; });
  plc.reset();
  until([&] { return client_->trouble().has_value(); });
  const auto refused = client_->apply(accepted(6));
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().code, ErrorCode::kDisconnected) << refused.error().detail;
  plc = std::make_unique<ModbusDevice>(ModbusDevice::polite, port);
  link_up();
  run_for(milliseconds(250));
  for (const Bytes& pdu : writes(*plc)) EXPECT_EQ(word(pdu, 6), 0);
  ASSERT_TRUE(client_->apply(accepted(6)).has_value());
  until([&] { return verdict(*plc) == kAccept; });
}

TEST_F(PlcClientTest, ARefusalOfThePlcIsSaidInWords) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  plc.behave([](PeerSocket& peer, const Bytes& request, const Bytes&) {
    return peer.send(tests::modbus_frame(static_cast<std::uint16_t>(request[0] * 256 + request[1]), 1,
                                         {static_cast<std::uint8_t>(request[7] | 0x80U), 2}));
  });
  // Whichever is refused first is told first, and the write as soon as it was refused.
  until([&] {
    const auto told = client_->apply(accepted());
    return !told.has_value() && told.error().detail.find("writing") != std::string::npos;
  });
  const auto refused = client_->apply(accepted());
  EXPECT_EQ(refused.error().code, ErrorCode::kOutOfRange);
  EXPECT_NE(
      refused.error().detail.find("writing 75 holding registers from 1000 refused: illegal data address"),
      std::string::npos)
      << refused.error().detail;
  plc.behave(ModbusDevice::polite);
  until([&] { return client_->apply(accepted()).has_value(); });
}

TEST_F(PlcClientTest, SilenceOfThePlcIsAnErrorAndNoInput) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  plc.behave([](PeerSocket&, const Bytes&, const Bytes&) { return true; });
  const auto began = steady_clock::now();
  until([&] { return !client_->apply(accepted()).has_value(); });
  EXPECT_LT(steady_clock::now() - began, milliseconds(900));
  const std::size_t before = heard_.size();
  run_for(milliseconds(1500));
  EXPECT_EQ(heard_.size(), before);
  plc.behave(ModbusDevice::polite);
  link_up();
}

TEST_F(PlcClientTest, SafeTakesTheAcceptBackUntilItIsToldAgain) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  ASSERT_TRUE(client_->apply(accepted()).has_value());
  until([&] { return verdict(plc) == kAccept; });
  client_->safe();
  until([&] { return verdict(plc) == 0; });
  EXPECT_EQ(plc.registers(kCellAt + 5, 1)[0] & 0x0C, 0);
  ASSERT_TRUE(client_->apply(accepted()).has_value());
  until([&] { return verdict(plc) == kAccept; });
}

TEST_F(PlcClientTest, StopSendsOneLastSafeBlockAndCloses) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  ASSERT_TRUE(client_->apply(accepted()).has_value());
  until([&] { return verdict(plc) == kAccept; });
  client_->stop();
  client_->stop();
  EXPECT_EQ(client_->apply(accepted()).error().code, ErrorCode::kCancelled);
  io_.restart();
  io_.run_for(std::chrono::seconds(5));
  EXPECT_TRUE(io_.stopped());  // nothing waits any more
  EXPECT_EQ(verdict(plc), 0);
}

TEST_F(PlcClientTest, TheLastSafeBlockGoesOutEvenIfNobodyRunsTheLoopAgain) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  for (int turn = 0; turn < 20; ++turn) {
    ASSERT_TRUE(client_->apply(accepted()).has_value());
    until([&] { return verdict(plc) == kAccept; });
  }
  client_.reset();
  const auto limit = steady_clock::now() + std::chrono::seconds(10);
  while (verdict(plc) != 0 && steady_clock::now() < limit) std::this_thread::yield();
  EXPECT_EQ(verdict(plc), 0);
}

TEST_F(PlcClientTest, StoppingIsBoundedWhenThePlcIsSilent) {
  ModbusDevice plc;
  open(options_for(plc.port()));
  link_up();
  plc.behave([](PeerSocket&, const Bytes&, const Bytes&) { return true; });
  run_for(milliseconds(150));
  client_->stop();
  const auto began = steady_clock::now();
  io_.restart();
  io_.run_for(std::chrono::seconds(5));
  EXPECT_TRUE(io_.stopped());
  EXPECT_LT(steady_clock::now() - began, milliseconds(700));
}

TEST_F(PlcClientTest, StoppingBeforeThereIsALinkEndsEverything) {
  std::uint16_t port = 0;
  {
    const tests::Listener gone;
    port = gone.port();
  }
  PlcClientOptions options = options_for(port);
  options.peer.backoff_shortest = milliseconds(4000);
  options.peer.backoff_longest = milliseconds(5000);
  open(options);
  run_for(milliseconds(50));
  EXPECT_EQ(client_->apply(accepted()).error().code, ErrorCode::kDisconnected);
  client_->stop();
  const auto began = steady_clock::now();
  io_.restart();
  io_.run_for(std::chrono::seconds(3));
  EXPECT_LT(steady_clock::now() - began, milliseconds(1000));
}

TEST_F(PlcClientTest, TheListenerMayShowSomethingElse) {
  ModbusDevice plc;
  plc.set_registers(kPlcAt, {1, 9});
  open(options_for(plc.port()));
  link_up();
  client_->on_inputs([this](const base::PlcInputs& inputs) {
    base::CellSignal signal = accepted();
    signal.request_echo = inputs.request_id;
    EXPECT_TRUE(client_->apply(signal).has_value());
  });
  until([&] { return plc.registers(kCellAt + 4, 1)[0] == 9; });
}

TEST_F(PlcClientTest, ComesBackFromEveryKindOfNonsense) {
  const std::vector<ModbusDevice::Manner> manners = {
      [](PeerSocket&, const Bytes&, const Bytes&) { return false; },
      [](PeerSocket& peer, const Bytes&, const Bytes& answer) {
        peer.send({answer.begin(), answer.begin() + 5});
        return false;
      },
      [](PeerSocket& peer, const Bytes&, const Bytes&) { return peer.send(Bytes(50'000, 0xFF)); },
      [](PeerSocket& peer, const Bytes&, Bytes answer) {
        answer[1] ^= 0x40U;
        return peer.send(answer);
      },
      [](PeerSocket& peer, const Bytes&, const Bytes& answer) {
        std::this_thread::sleep_for(milliseconds(400));
        return peer.send(answer);
      },
  };
  ModbusDevice plc;
  open(options_for(plc.port()));
  for (const auto& manner : manners) {
    link_up();
    plc.behave(manner);
    until([&] { return client_->trouble().has_value(); });
    run_for(milliseconds(50));
    plc.behave(ModbusDevice::polite);
    link_up();
    ASSERT_TRUE(client_->apply(accepted()).has_value());
    until([&] { return verdict(plc) == kAccept; });
    client_->safe();
    until([&] { return verdict(plc) == 0; });
  }
}

TEST_F(PlcClientTest, ThreeHundredReconnectsLeakNoDescriptor) {
  ModbusDevice plc([](PeerSocket&, const Bytes&, const Bytes&) { return false; });
  PlcClientOptions options = options_for(plc.port());
  options.peer.backoff_shortest = milliseconds(1);
  options.peer.backoff_longest = milliseconds(2);
  open(options);
  until([&] { return client_->counters().lost >= 2; });
  const std::size_t before = tests::open_descriptors();
  until([&] { return client_->counters().lost >= 302; });
  EXPECT_LE(tests::open_descriptors(),
            before + 2);  // one connection may be open just now, with both its ends
}

TEST_F(PlcClientTest, AnIndependentPlcReadsAndIsRead) {
  tests::PythonPeer plc("modbus_peer_device.py", {"0"});
  const std::string port = plc.read_line();
  ASSERT_FALSE(port.empty());
  open(options_for(static_cast<std::uint16_t>(std::stoi(port))));
  link_up();
  ASSERT_TRUE(client_->apply(accepted()).has_value());
  run_for(milliseconds(300));
  std::istringstream said(plc.ask("registers 1000 75"));
  const std::vector<int> block{std::istream_iterator<int>(said), {}};
  ASSERT_EQ(block.size(), 75U);
  EXPECT_EQ(block[6], kAccept);
  EXPECT_EQ(block[0], 5);
  EXPECT_EQ(block[74], 5);
  EXPECT_EQ(plc.ask("set 2000 7 42 1"), "ok");
  until([&] { return !heard_.empty() && heard_.back().request_id == 42; });
  client_->stop();
  run_for(milliseconds(400));
  EXPECT_EQ(plc.ask("registers 1006 1"), "0");
}

TEST(PlcClientOptionsTest, BadOptionsAreSaidInPlainWords) {
  boost::asio::io_context io;
  const auto detail = [&](const std::function<void(PlcClientOptions&)>& spoil) {
    PlcClientOptions options = options_for(502);
    spoil(options);
    const auto made = make_plc_client(io.get_executor(), options);
    if (made) return std::string();
    EXPECT_EQ(made.error().code, ErrorCode::kInvalidConfig);
    return made.error().detail;
  };
  EXPECT_EQ(detail([](PlcClientOptions&) {}), "");
  EXPECT_NE(detail([](PlcClientOptions& o) { o.peer.host = "plc"; }), "");
  EXPECT_NE(detail([](PlcClientOptions& o) { o.cell_block = 65462; }), "");
  EXPECT_EQ(detail([](PlcClientOptions& o) { o.cell_block = 65461; }), "");
  EXPECT_NE(detail([](PlcClientOptions& o) { o.plc_block = 65473; }), "");
  EXPECT_NE(detail([](PlcClientOptions& o) { o.plc_block = 1074; }).find("overlap"), std::string::npos);
  EXPECT_NE(detail([](PlcClientOptions& o) { o.plc_block = 937; }), "");
  EXPECT_EQ(detail([](PlcClientOptions& o) { o.plc_block = 1075; }), "");
  EXPECT_EQ(detail([](PlcClientOptions& o) { o.plc_block = 936; }), "");
  EXPECT_NE(detail([](PlcClientOptions& o) { o.every = milliseconds(1000); }), "");
}

}  // namespace
}  // namespace crestgate::driver
