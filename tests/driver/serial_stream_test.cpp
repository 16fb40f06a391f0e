// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/serial_stream.h"

#include <array>
#include <cstdio>
#include <thread>

#include <boost/asio/io_context.hpp>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "driver/stream/open_port.h"
#include "driver/stream/port_list.h"
#include "support/pty_pair.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;

Deadline soon() { return std::chrono::steady_clock::now() + std::chrono::seconds(10); }

// A fresh pseudo-terminal would turn 03 into an interrupt, 13 into a pause and 0D into a line end.
TEST(SerialStream, BytesWithAMeaningToTerminalsArriveUnchangedBothWays) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  auto port = open_serial(io.get_executor(), pty.slave_path, {});
  ASSERT_TRUE(port.has_value()) << port.error().detail;
  const std::array bytes{std::byte{0x03}, std::byte{0x13}, std::byte{0x0D}, std::byte{0x11}, std::byte{0x04},
                         std::byte{0x0A}, std::byte{0x7F}, std::byte{0xFF}, std::byte{0x00}};
  for (const bool to_port : {true, false}) {
    ByteStream& from = to_port ? *pty.master : **port;
    ByteStream& to = to_port ? **port : *pty.master;
    ASSERT_TRUE(tests::run(io, from.write(bytes, soon())).has_value());
    std::vector<std::byte> got;
    while (got.size() < bytes.size()) {
      std::array<std::byte, 64> buffer{};
      const auto count = tests::run(io, to.read_some(buffer, soon()));
      ASSERT_TRUE(count.has_value()) << count.error().detail;
      got.insert(got.end(), buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(*count));
    }
    EXPECT_TRUE(std::equal(bytes.begin(), bytes.end(), got.begin(), got.end()));
  }
}

TEST(SerialStream, SettingsAreThoseAskedFor) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  SerialOptions options;
  options.baud = 460800;
  options.rts_cts = true;
  const auto port = open_serial(io.get_executor(), pty.slave_path, options);
  ASSERT_TRUE(port.has_value()) << port.error().detail;
  const int fd = ::open(pty.slave_path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  ASSERT_GE(fd, 0);
  termios found{};
  ASSERT_EQ(::tcgetattr(fd, &found), 0);
  ::close(fd);
  EXPECT_EQ(::cfgetospeed(&found), speed_t{B460800});
  EXPECT_EQ(::cfgetispeed(&found), speed_t{B460800});
  EXPECT_EQ(found.c_cc[VMIN], 1);
  EXPECT_EQ(found.c_cc[VTIME], 0);
  EXPECT_NE(found.c_cflag & CRTSCTS, 0U);
  EXPECT_NE(found.c_cflag & CLOCAL, 0U);
  EXPECT_EQ(found.c_cflag & HUPCL, 0U);
  EXPECT_EQ(found.c_iflag & (IXON | IXOFF | IXANY | ICRNL), 0U);
  EXPECT_EQ(found.c_lflag & (ECHO | ICANON | ISIG), 0U);
}

TEST(SerialStream, ParityOnAPseudoTerminalIsToleratedThoughItIsDropped) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  SerialOptions options;
  options.parity = Parity::kEven;
  EXPECT_TRUE(open_serial(io.get_executor(), pty.slave_path, options).has_value());
}

TEST(SerialStream, ASecondOpeningIsBusyUntilTheFirstIsClosed) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  auto first = open_serial(io.get_executor(), pty.slave_path, {});
  ASSERT_TRUE(first.has_value());
  const auto second = open_serial(io.get_executor(), pty.slave_path, {});
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, ErrorCode::kBusy) << second.error().detail;
  (*first)->close();
  EXPECT_TRUE(open_serial(io.get_executor(), pty.slave_path, {}).has_value());
}

TEST(SerialStream, ChildrenDoNotInheritThePort) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  const auto port = open_serial(io.get_executor(), pty.slave_path, {});
  ASSERT_TRUE(port.has_value());
  // The shell lists what it was given.
  FILE* child = ::popen("readlink /proc/self/fd/*", "re");
  ASSERT_NE(child, nullptr);
  std::string listed;
  std::array<char, 512> line{};
  while (std::fgets(line.data(), static_cast<int>(line.size()), child) != nullptr) listed += line.data();
  ::pclose(child);
  EXPECT_EQ(listed.find(pty.slave_path), std::string::npos) << listed;
}

TEST(SerialStream, ErrorsAreInPlainWords) {
  boost::asio::io_context io;
  const auto missing = open_serial(io.get_executor(), "/dev/ttyGaugeThatIsNotThere", {});
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(missing.error().code, ErrorCode::kNotFound);
  EXPECT_EQ(missing.error().detail, "/dev/ttyGaugeThatIsNotThere: no such port; is it plugged in?");

  const auto no_port = open_serial(io.get_executor(), "/dev/null", {});
  ASSERT_FALSE(no_port.has_value());
  EXPECT_EQ(no_port.error().code, ErrorCode::kInvalidConfig);
  EXPECT_EQ(no_port.error().detail, "/dev/null: this is not a serial port");

  auto pty = tests::open_pty(io.get_executor());
  SerialOptions odd;
  odd.baud = 12345;
  const auto rate = open_serial(io.get_executor(), pty.slave_path, odd);
  ASSERT_FALSE(rate.has_value());
  EXPECT_EQ(rate.error().code, ErrorCode::kInvalidConfig);
  EXPECT_NE(rate.error().detail.find("12345 baud"), std::string::npos);
}

TEST(SerialStream, StaleBytesOfAnEarlierSessionAreGone) {
  boost::asio::io_context io;
  auto pty = tests::open_pty(io.get_executor());
  const std::array old{std::byte{'o'}, std::byte{'l'}, std::byte{'d'}, std::byte{'\n'}};
  ASSERT_TRUE(tests::run(io, pty.master->write(old, soon())).has_value());
  auto port = open_serial(io.get_executor(), pty.slave_path, {});
  ASSERT_TRUE(port.has_value());
  std::array<std::byte, 16> buffer{};
  const auto got = tests::run(
      io, (*port)->read_some(buffer, std::chrono::steady_clock::now() + std::chrono::milliseconds(50)));
  ASSERT_FALSE(got.has_value());
  EXPECT_EQ(got.error().code, ErrorCode::kNoReply);
}

TEST(PortAddress, ReadsEveryWayToNameAPort) {
  const auto tcp = parse_port_address("tcp:192.168.0.20:4001");
  ASSERT_TRUE(tcp.has_value());
  EXPECT_EQ(std::get<TcpAddress>(*tcp).host, "192.168.0.20");
  EXPECT_EQ(std::get<TcpAddress>(*tcp).port, 4001);
  EXPECT_EQ(std::get<TcpAddress>(*parse_port_address("tcp:[::1]:4001")).host, "::1");
  for (const char* good : {"/dev/ttyUSB0", "usb:0403:6001:SN123", "path:1-1.2:1.0"}) {
    EXPECT_TRUE(parse_port_address(good).has_value()) << good;
  }
  for (const char* bad : {"", "/", "COM1", "tcp:", "tcp:host", "tcp::1", "tcp:1.2.3.4:0", "tcp:1.2.3.4:65536",
                          "tcp:1.2.3.4:4x", "usb:", "path:"}) {
    const auto address = parse_port_address(bad);
    ASSERT_FALSE(address.has_value()) << bad;
    EXPECT_EQ(address.error().code, ErrorCode::kInvalidConfig);
  }
}

TEST(TcpStream, NamesAreRefusedRatherThanLookedUp) {
  boost::asio::io_context io;
  PortOptions options;
  options.address = TcpAddress{"gauge.example", 4001};
  EXPECT_EQ(tests::run(io, open_port(io.get_executor(), options)).error().code, ErrorCode::kInvalidConfig);
}

TEST(TcpStream, ARefusedConnectionIsDisconnected) {
  boost::asio::io_context io;
  PortOptions options;
  options.address = TcpAddress{"127.0.0.1", 1};  // nothing listens on it here
  EXPECT_EQ(tests::run(io, open_port(io.get_executor(), options)).error().code, ErrorCode::kDisconnected);
}

PortInfo usb_port(std::string name, std::string serial_number, std::string socket) {
  PortInfo port;
  port.name = std::move(name);
  port.transport = Transport::kUsb;
  port.usb = UsbFacts{0x0403, 0x6001, std::move(serial_number), 1, 7};
  port.socket = std::move(socket);
  return port;
}

TEST(PortList, IdentitiesAreUniqueAndOutliveAnotherDeviceName) {
  PortInfo native;
  native.name = "/dev/ttyS0";
  native.transport = Transport::kNative;
  std::vector<PortInfo> ports{
      usb_port("/dev/ttyUSB0", "SN1", "1-1:1.0"), usb_port("/dev/ttyUSB1", "SAME", "1-2:1.0"),
      usb_port("/dev/ttyUSB2", "SAME", "1-2:1.1"), usb_port("/dev/ttyUSB3", "", "1-3:1.0"), native};
  assign_identities(ports);
  EXPECT_EQ(ports[0].identity, "usb:0403:6001:SN1");
  EXPECT_EQ(ports[1].identity, "path:1-2:1.0");
  EXPECT_EQ(ports[2].identity, "path:1-2:1.1");
  EXPECT_EQ(ports[3].identity, "path:1-3:1.0");
  EXPECT_EQ(ports[4].identity, "path:/dev/ttyS0");
  ports[0].name = "/dev/ttyUSB9";
  EXPECT_EQ(*find_port("usb:0403:6001:SN1", ports), "/dev/ttyUSB9");
  EXPECT_EQ(*find_port("/dev/gauge", ports), "/dev/gauge");
  const auto missing = find_port("usb:0403:6001:SN7", ports);
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(missing.error().code, ErrorCode::kNotFound);
  EXPECT_NE(missing.error().detail.find("path:1-3:1.0"), std::string::npos);
}

TEST(PortList, TheSystemsOwnListIsSortedAndComplete) {
  const auto ports = list_ports();
  ASSERT_TRUE(ports.has_value()) << ports.error().detail;
  for (std::size_t i = 0; i < ports->size(); ++i) {
    EXPECT_FALSE((*ports)[i].identity.empty());
    if (i > 0) {
      EXPECT_LT((*ports)[i - 1].name, (*ports)[i].name);
    }
  }
}

}  // namespace
}  // namespace crestgate::driver
