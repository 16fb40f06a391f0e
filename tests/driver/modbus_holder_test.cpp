// SPDX-License-Identifier: Apache-2.0
// Several PLCs on one server: who may write. Exception codes: Modbus Application Protocol Specification
// V1.1b3 section 7 (6: server device busy, 1: not an allowable action for the server).

#include <array>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <memory>
#include <string>
#include <thread>

#include <gtest/gtest.h>

#include "driver/modbus_sockets.h"
#include "driver/served_modbus.h"
#include "driver/signal/modbus/modbus_server.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using std::chrono::steady_clock;
using tests::Bytes;
using tests::PeerSocket;

constexpr milliseconds kSilence{400};
constexpr milliseconds kContest{300};
const Bytes kReadVerdict{4, 0, 6, 0, 1};
const Bytes kBusy{0x90, 6};

Bytes write_request(std::uint8_t request_id) { return {16, 0, 0, 0, 2, 4, 0, 1, 0, request_id}; }
const Bytes kWritten{16, 0, 0, 0, 2};

class ModbusHolderTest : public ServedModbus {
 protected:
  void open(std::vector<std::string> allowed = {}, std::size_t connection_limit = 16) {
    ModbusServerOptions options;
    options.connection_limit = connection_limit;
    options.allowed_writers = std::move(allowed);
    options.holder_silence = kSilence;
    options.contest_shown = kContest;
    serve(options);
  }
  // How often the listener was called, and what it heard last.
  std::pair<std::size_t, base::PlcInputs> heard() {
    std::pair<std::size_t, base::PlcInputs> heard;
    on_loop([&] { heard = {seen_.size(), seen_.empty() ? base::PlcInputs{} : seen_.back()}; });
    return heard;
  }
  bool becomes(const std::function<bool()>& condition) {
    const auto limit = steady_clock::now() + std::chrono::seconds(15);
    while (steady_clock::now() < limit) {
      if (condition()) return true;
      std::this_thread::yield();
    }
    return false;
  }
  PeerSocket plc(const std::string& address) { return PeerSocket::connect(port_, address); }
};

TEST_F(ModbusHolderTest, ASecondPlcReadsButDoesNotWrite) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  EXPECT_EQ(first.ask(write_request(7)), kWritten);
  const Bytes both{23, 0, 100, 0, 1, 0, 0, 0, 1, 2, 0, 9};
  EXPECT_EQ(second.ask(write_request(8)), kBusy);
  EXPECT_EQ(second.ask({6, 0, 1, 0, 8}), (Bytes{0x86, 6}));
  EXPECT_EQ(second.ask(both), (Bytes{0x97, 6}));
  EXPECT_EQ(second.ask(kReadVerdict), (Bytes{4, 2, 0, 0}));
  EXPECT_EQ(second.ask({3, 0, 1, 0, 1}), (Bytes{3, 2, 0, 7}));
  EXPECT_EQ(counters().refused_other_holds, 3U);
  EXPECT_EQ(counters().writes, 1U);
  EXPECT_EQ(first.ask(write_request(9)), kWritten);
}

TEST_F(ModbusHolderTest, AMalformedWriteOfAnotherIsNoContest) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  EXPECT_EQ(second.ask({6, 0, 106, 0xA5, 0xC3}), (Bytes{0x86, 2}));
  EXPECT_EQ(first.ask(write_request(7)), kWritten);
  EXPECT_FALSE(heard().second.contested);
}

TEST_F(ModbusHolderTest, TheCellHearsOfAContestAtOnceAndOfItsEnd) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  EXPECT_FALSE(heard().second.contested);
  ASSERT_EQ(second.ask(write_request(8)), kBusy);
  const auto contested = heard();
  EXPECT_EQ(contested.first, 2U);
  EXPECT_TRUE(contested.second.contested);
  EXPECT_EQ(contested.second.request_id, 7);  // what the holder wrote
  const auto began = steady_clock::now();
  EXPECT_TRUE(becomes([&] { return !heard().second.contested; }));  // without another write
  EXPECT_GE(steady_clock::now() - began, kContest - milliseconds(50));
  EXPECT_EQ(heard().first, 3U);
}

TEST_F(ModbusHolderTest, EveryWriteOfTheHolderTellsTheContest) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  for (int turn = 0; turn < 3; ++turn) ASSERT_EQ(second.ask(write_request(8)), kBusy);
  ASSERT_EQ(first.ask(write_request(9)), kWritten);
  const auto last = heard();
  EXPECT_EQ(last.first, 3U);  // write, change, write: repeated attempts are no news
  EXPECT_TRUE(last.second.contested);
  EXPECT_EQ(last.second.request_id, 9);
}

TEST_F(ModbusHolderTest, BeforeTheFirstWriteNobodyHearsOfAContest) {
  open({"127.0.0.2"});
  PeerSocket stranger = plc("127.0.0.3");
  EXPECT_EQ(stranger.ask(write_request(8)), (Bytes{0x90, 1}));
  EXPECT_EQ(heard().first, 0U);
  EXPECT_EQ(counters().refused_not_allowed, 1U);
  PeerSocket first = plc("127.0.0.2");
  EXPECT_EQ(first.ask(write_request(7)), kWritten);
  EXPECT_TRUE(heard().second.contested);
  EXPECT_EQ(stranger.ask(kReadVerdict), (Bytes{4, 2, 0, 0}));
}

TEST_F(ModbusHolderTest, AClosedConnectionFreesTheLine) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  first.close();
  ASSERT_TRUE(becomes([&] { return counters().connections == 1; }));
  EXPECT_EQ(second.ask(write_request(8)), kWritten);
}

TEST_F(ModbusHolderTest, ASilentHolderLosesTheLineAndIsTheOtherThen) {
  open();
  PeerSocket first = plc("127.0.0.2");
  PeerSocket second = plc("127.0.0.3");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  const auto began = steady_clock::now();
  ASSERT_TRUE(becomes([&] {
    EXPECT_EQ(first.ask(kReadVerdict), (Bytes{4, 2, 0, 0}));  // reading does not hold the line
    return second.ask(write_request(8)) == kWritten;
  }));
  EXPECT_GE(steady_clock::now() - began, kSilence - milliseconds(50));
  EXPECT_EQ(first.ask(write_request(9)), kBusy);
  EXPECT_EQ(heard().second.request_id, 8);
}

TEST_F(ModbusHolderTest, APlcThatComesBackAfterAHalfOpenConnectionTakesOverAtOnce) {
  open();
  tests::Relay relay(port_, "127.0.0.2");
  PeerSocket before = PeerSocket::connect(relay.port(), "127.0.0.1");
  ASSERT_EQ(before.ask(write_request(7)), kWritten);
  relay.swallow();
  EXPECT_TRUE(before.ask(write_request(8), milliseconds(50)).empty());
  PeerSocket again = plc("127.0.0.2");
  PeerSocket other = plc("127.0.0.3");
  EXPECT_EQ(other.ask(write_request(9)), kBusy);
  EXPECT_EQ(again.ask(write_request(10)), kWritten);
  EXPECT_EQ(counters().connections, 3U);  // the half-open one is not known to be dead
  EXPECT_EQ(heard().second.request_id, 10);
}

TEST_F(ModbusHolderTest, AHalfOpenHolderBlocksAnotherPlcNoLongerThanItsSilence) {
  open();
  tests::Relay relay(port_, "127.0.0.2");
  PeerSocket before = PeerSocket::connect(relay.port(), "127.0.0.1");
  ASSERT_EQ(before.ask(write_request(7)), kWritten);
  relay.swallow();
  PeerSocket other = plc("127.0.0.3");
  EXPECT_EQ(other.ask(write_request(8)), kBusy);
  EXPECT_TRUE(becomes([&] { return other.ask(write_request(8)) == kWritten; }));
}

TEST_F(ModbusHolderTest, APlcMayWriteThroughSeveralConnections) {
  open();
  PeerSocket one = plc("127.0.0.2");
  ASSERT_EQ(one.ask(write_request(7)), kWritten);
  PeerSocket two = plc("127.0.0.2");
  EXPECT_EQ(two.ask(write_request(8)), kWritten);
  EXPECT_EQ(one.ask(write_request(9)), kWritten);
  EXPECT_EQ(two.ask({3, 0, 1, 0, 1}), (Bytes{3, 2, 0, 9}));
  EXPECT_FALSE(heard().second.contested);
}

TEST_F(ModbusHolderTest, AHundredReconnectsOfThePlcAllWriteAtOnce) {
  open();
  PeerSocket other = plc("127.0.0.3");
  for (int turn = 0; turn < 100; ++turn) {
    PeerSocket plc_again = plc("127.0.0.2");
    ASSERT_EQ(plc_again.ask(write_request(static_cast<std::uint8_t>(turn + 1))), kWritten);
    ASSERT_EQ(other.ask(write_request(200)), kBusy);
  }
  EXPECT_EQ(counters().writes, 100U);
}

TEST_F(ModbusHolderTest, ACrowdDoesNotPushThePlcOut) {
  open({}, 4);
  PeerSocket first = plc("127.0.0.2");
  ASSERT_EQ(first.ask(write_request(7)), kWritten);
  std::vector<PeerSocket> crowd;
  for (int i = 0; i < 20; ++i) crowd.push_back(plc("127.0.0.3"));
  ASSERT_TRUE(becomes([&] { return counters().accepted == 21; }));
  EXPECT_EQ(crowd.back().ask(write_request(8)), kBusy);
  EXPECT_EQ(first.ask(write_request(9)), kWritten);
  EXPECT_EQ(counters().connections, 4U);
}

// A PLC floods writes while its connection is thrown out: what is carried out belongs to a connection.
TEST_F(ModbusHolderTest, ConnectionsThrownOutInMidRequestHarmNothing) {
  open({}, 1);
  Bytes many;
  for (int i = 0; i < 200; ++i) {
    const Bytes one = tests::modbus_frame(1, 1, write_request(7));
    many.insert(many.end(), one.begin(), one.end());
  }
  for (int turn = 0; turn < 50; ++turn) {
    PeerSocket one = plc("127.0.0.2");
    one.send(many);
    PeerSocket two = plc("127.0.0.2");
    two.send(many);
  }
  ASSERT_TRUE(becomes([&] { return counters().connections == 0; }));
  PeerSocket last = plc("127.0.0.2");
  EXPECT_EQ(last.ask(write_request(9)), kWritten);
}

// pymodbus is an implementation of its own (not libmodbus): tests/driver/modbus_rivals.py.
TEST_F(ModbusHolderTest, IndependentPeersSeeTheSame) {
  open();
  const std::string command = "/usr/bin/python3 -B " + std::string(CRESTGATE_SOURCE_DIR) +
                              "/tests/driver/modbus_rivals.py " + std::to_string(port_) + " " +
                              std::to_string(kSilence.count()) + " 2>&1";
  FILE* peers = ::popen(command.c_str(), "re");
  ASSERT_NE(peers, nullptr);
  std::string said;
  std::array<char, 512> line{};
  while (std::fgets(line.data(), static_cast<int>(line.size()), peers) != nullptr) said += line.data();
  EXPECT_EQ(::pclose(peers), 0) << said;
}

TEST(ModbusServerOptionsTest, AWriterThatIsNoAddressIsRefusedByName) {
  boost::asio::io_context io;
  ModbusServerOptions options;
  options.port = 0;
  options.allowed_writers = {"127.0.0.2", "plc-one"};
  const auto opened = open_modbus_server(io.get_executor(), options);
  ASSERT_FALSE(opened.has_value());
  EXPECT_EQ(opened.error().code, base::ErrorCode::kInvalidConfig);
  EXPECT_NE(opened.error().detail.find("plc-one"), std::string::npos);
}

}  // namespace
}  // namespace crestgate::driver
