// SPDX-License-Identifier: Apache-2.0
#pragma once
// The Modbus server on its one thread; the clients block on the test's.

#include <deque>
#include <future>
#include <memory>
#include <thread>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <gtest/gtest.h>

#include "driver/signal/modbus/modbus_server.h"

namespace crestgate::driver {

class ServedModbus : public ::testing::Test {
 protected:
  void serve(ModbusServerOptions options) {
    options.port = 0;
    auto opened = open_modbus_server(io_.get_executor(), options);
    ASSERT_TRUE(opened.has_value()) << opened.error().detail;
    server_ = *std::move(opened);
    port_ = server_->port();
    server_->on_inputs([this](const base::PlcInputs& inputs) { seen_.push_back(inputs); });
    thread_ = std::thread([this] { io_.run(); });
  }
  void TearDown() override {
    on_loop([this] { server_.reset(); });
    guard_.reset();
    thread_.join();
  }
  template <class Work>
  void on_loop(Work work) {
    std::promise<void> done;
    boost::asio::post(io_, [&] {
      work();
      done.set_value();
    });
    done.get_future().wait();
  }
  ModbusCounters counters() {
    ModbusCounters counters;
    on_loop([&] { counters = server_->counters(); });
    return counters;
  }

  boost::asio::io_context io_{1};
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> guard_{io_.get_executor()};
  std::unique_ptr<ModbusServer> server_;
  std::uint16_t port_ = 0;
  std::deque<base::PlcInputs> seen_;
  std::thread thread_;
};

}  // namespace crestgate::driver
