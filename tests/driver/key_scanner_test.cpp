// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/key_scanner.h"

#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "scanner_bench.h"
#include "support/open_descriptors.h"
#include "typist.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using Texts = std::vector<std::string>;

TEST(KeyScanner, WhatCannotBeGrabbedIsNoInputDevice) {
  boost::asio::io_context io;
  tests::KeyBench bench(io);
  const auto scanner = bench.make(io, {.path = {}, .grab = true, .timing = tests::quick_timing()});
  tests::Heard heard(*scanner);
  const std::size_t before = tests::open_descriptors();
  scanner->start();
  tests::run_until(io, [&] { return heard.changes > 0; });
  EXPECT_FALSE(scanner->online());
  EXPECT_EQ(scanner->offline_reason().code, ErrorCode::kInvalidConfig);
  EXPECT_EQ(scanner->offline_reason().detail, bench.path() + ": this is not an input device");
  EXPECT_EQ(tests::open_descriptors(), before);
}

TEST(KeyScanner, AMissingDeviceIsNamed) {
  boost::asio::io_context io;
  tests::KeyBench bench(io);
  bench.pull();
  const auto scanner = bench.make(io, {.path = {}, .grab = true, .timing = tests::quick_timing()});
  tests::Heard heard(*scanner);
  scanner->start();
  tests::run_until(io, [&] { return heard.changes > 0; });
  EXPECT_EQ(scanner->offline_reason().code, ErrorCode::kNotFound);
  EXPECT_NE(scanner->offline_reason().detail.find(bench.path()), std::string::npos);
}

TEST(KeyScanner, AShiftHeldWhenTheDeviceWasPulledIsForgotten) {
  boost::asio::io_context io;
  tests::KeyBench bench(io);
  const auto scanner = bench.make(io, {.path = {}, .grab = false, .timing = tests::quick_timing()});
  tests::Heard heard(*scanner);
  scanner->start();
  tests::run_until(io, [&] { return scanner->online(); });
  const std::vector<input_event> held = {tests::press(KEY_LEFTSHIFT), tests::press(KEY_A),
                                         tests::press(KEY_ENTER), tests::press(KEY_B)};
  // Half an event at the end: the next device begins with a whole one.
  const auto bytes = std::as_bytes(std::span(held));
  bench.send(bytes.first(bytes.size() - 5));
  tests::run_until(io, [&] { return !heard.lines.empty(); });
  bench.pull();
  tests::run_until(io, [&] { return !scanner->online(); });
  bench.plug();
  tests::run_until(io, [&] { return scanner->online(); });
  bench.scan("a1");
  tests::run_until(io, [&] { return heard.lines.size() == 2; });
  EXPECT_EQ(heard.lines, (Texts{"A", "a1"}));
}

TEST(MakeScanner, TakesEveryKindOfPort) {
  boost::asio::io_context io;
  for (const char* port : {"/dev/ttyUSB0", "usb:0403:6001:SN1", "path:1-1.2:1.0", "tcp:192.168.0.20:4001",
                           "tcp:[::1]:4001", "keys:/dev/input/by-id/usb-Scanner-event-kbd"}) {
    const auto scanner = make_scanner(io.get_executor(), {.port = port, .serial = {}});
    ASSERT_TRUE(scanner.has_value()) << scanner.error().detail;
    EXPECT_FALSE((*scanner)->online());
  }
}

TEST(MakeScanner, SaysInOneLineWhatWasExpected) {
  boost::asio::io_context io;
  const std::vector<std::pair<std::string, std::string>> table = {
      {"",
       "scanner \"\": expected /dev/..., usb:VENDOR:PRODUCT:SERIAL, path:SOCKET, tcp:ADDRESS:PORT or "
       "keys:/dev/input/by-id/...-event-kbd"},
      {"com3",
       "scanner \"com3\": expected /dev/..., usb:VENDOR:PRODUCT:SERIAL, path:SOCKET, tcp:ADDRESS:PORT or "
       "keys:/dev/input/by-id/...-event-kbd"},
      {"keys:", "scanner \"keys:\": expected keys:/dev/input/by-id/...-event-kbd"},
      {"keys:event3", "scanner \"keys:event3\": expected keys:/dev/input/by-id/...-event-kbd"},
      {"/dev/input/event3",
       "scanner \"/dev/input/event3\": expected keys:/dev/input/event3, because this device types its "
       "labels"},
      {"tcp:scanner-host:4001",
       "scanner \"tcp:scanner-host:4001\": expected an address in numbers, such as tcp:192.168.0.20:4001"},
  };
  for (const auto& [port, detail] : table) {
    const auto scanner = make_scanner(io.get_executor(), {.port = port, .serial = {}});
    ASSERT_FALSE(scanner.has_value()) << port;
    EXPECT_EQ(scanner.error().code, ErrorCode::kInvalidConfig);
    EXPECT_EQ(scanner.error().detail, detail);
  }
}

TEST(MakeScanner, MakesAScannerThatReads) {
  boost::asio::io_context io;
  tests::LineBench bench(io);
  auto scanner = make_scanner(io.get_executor(), {.port = bench.path(), .serial = {.baud = 9600}});
  ASSERT_TRUE(scanner.has_value()) << scanner.error().detail;
  tests::Heard heard(**scanner);
  (*scanner)->start();
  tests::run_until(io, [&] { return (*scanner)->online(); });
  bench.scan("P-1");
  tests::run_until(io, [&] { return !heard.lines.empty(); });
  EXPECT_EQ(heard.lines, Texts{"P-1"});
}

}  // namespace
}  // namespace crestgate::driver
