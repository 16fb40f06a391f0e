// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/line_scanner.h"

#include <random>

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <gtest/gtest.h>

#include "scanner_bench.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using Texts = std::vector<std::string>;
namespace asio = boost::asio;

class LineScannerTest : public ::testing::Test {
 protected:
  LineScannerTest() : bench_(io_), scanner_(bench_.make()), heard_(*scanner_) {
    scanner_->start();
    tests::run_until(io_, [this] { return scanner_->online(); });
  }
  void until_lines(std::size_t count) {
    tests::run_until(io_, [this, count] { return heard_.lines.size() >= count; });
  }
  boost::asio::io_context io_;
  tests::LineBench bench_;
  std::unique_ptr<Scanner> scanner_;
  tests::Heard heard_;
};

TEST_F(LineScannerTest, CrAndLfAndBothEndALabel) {
  bench_.send("A\rB\nC\r\nD\n\rE\r\n\r\nF\r");
  until_lines(6);
  EXPECT_EQ(heard_.lines, (Texts{"A", "B", "C", "D", "E", "F"}));
  EXPECT_EQ(heard_.dropped, Texts{});
}

TEST_F(LineScannerTest, ALabelMayComeInPieces) {
  bench_.send("P-");
  tests::settle(io_);
  bench_.send("10");
  tests::settle(io_);
  bench_.send("42\r");
  tests::settle(io_);
  bench_.send("\n");
  until_lines(1);
  EXPECT_EQ(heard_.lines, Texts{"P-1042"});
}

TEST_F(LineScannerTest, AMegabyteWithoutALineEndIsOneLossAndTheNextLabelIsRead) {
  const std::string block(10'000, 'x');
  for (int i = 0; i < 100; ++i) bench_.send(block);
  bench_.send("\r\nP-1\r\n");
  until_lines(1);
  EXPECT_EQ(heard_.lines, Texts{"P-1"});
  EXPECT_EQ(heard_.dropped.size(), 1U);
  EXPECT_EQ(scanner_->health().overlong, 1U);
}

TEST_F(LineScannerTest, NulsAndOtherBytesThatAreNoTextMakeTheirLabelUnreadable) {
  using namespace std::string_view_literals;
  bench_.send("P\0001\r\n"sv);
  bench_.send("P\x1D\x31\r\n"sv);
  bench_.send("P\xFF\x31\r\n"sv);
  bench_.send("Teil-\xC3\x9C\r\n"sv);
  until_lines(1);
  EXPECT_EQ(heard_.lines, Texts{"Teil-\xC3\x9C"});
  EXPECT_EQ(heard_.dropped.size(), 3U);
  EXPECT_EQ(scanner_->health().unreadable, 3U);
  EXPECT_NE(heard_.dropped.at(1).find("byte 2 of 3 is 0x1D"), std::string::npos) << heard_.dropped.at(1);
}

TEST_F(LineScannerTest, AnyNoiseLeavesTheNextLabelsReadable) {
  std::mt19937 chance(11);
  std::uniform_int_distribution<int> any(0, 255);
  for (int block = 0; block < 50; ++block) {
    std::string noise(1000, ' ');
    for (char& c : noise) c = static_cast<char>(any(chance));
    bench_.send(noise);
  }
  bench_.send("\nP-1\n");
  tests::run_until(io_, [this] { return !heard_.lines.empty() && heard_.lines.back() == "P-1"; });
  EXPECT_TRUE(scanner_->online());
}

TEST(LineScannerOnTcp, ReadsFromASerialServerThatComesBack) {
  asio::io_context io;
  asio::ip::tcp::acceptor server(io, {asio::ip::make_address("127.0.0.1"), 0});
  LineScannerOptions options;
  options.port.address = TcpAddress{"127.0.0.1", server.local_endpoint().port()};
  options.timing = tests::quick_timing();
  options.timing.silence = std::chrono::milliseconds(50);
  options.timing.silence_limit = std::chrono::seconds(20);
  auto scanner = make_line_scanner(io.get_executor(), options);
  tests::Heard heard(*scanner);
  scanner->start();
  for (std::size_t turn = 1; turn <= 3; ++turn) {
    asio::ip::tcp::socket peer(io);
    bool accepted = false;
    server.async_accept(peer, [&](const boost::system::error_code& error) { accepted = !error; });
    tests::run_until(io, [&] { return accepted; });
    asio::write(peer, asio::buffer(std::string("kept by the server\r\n")));
    tests::run_until(io, [&] { return scanner->online(); });
    asio::write(peer, asio::buffer(std::string("P-1\r\nhalf")));
    tests::run_until(io, [&] { return heard.lines.size() == turn; });
    peer.close();
    tests::run_until(io, [&] { return !scanner->online(); });
    EXPECT_EQ(scanner->offline_reason().code, ErrorCode::kDisconnected);
  }
  EXPECT_EQ(heard.lines, (Texts{"P-1", "P-1", "P-1"}));
  EXPECT_EQ(scanner->health().half, 3U);
}

}  // namespace
}  // namespace crestgate::driver
