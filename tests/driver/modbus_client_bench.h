// SPDX-License-Identifier: Apache-2.0
#pragma once
// A client and the device that it asks, on one loop.

#include <chrono>
#include <cstdint>
#include <memory>
#include <vector>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <gtest/gtest.h>

#include "driver/modbus_device.h"
#include "driver/signal/modbus/modbus_client.h"
#include "support/run_async.h"

namespace crestgate::driver {

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

}  // namespace crestgate::driver
