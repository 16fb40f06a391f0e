// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to the Modbus server: what its connections share, and the life of one connection.

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>

#include "driver/signal/modbus/line_holder.h"
#include "driver/signal/modbus/modbus_server.h"
#include "driver/signal/modbus/responder.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

struct ServerClient {
  std::uint64_t number = 0;  // in the order in which they came, from 1
  std::unique_ptr<ByteStream> stream;
  LineHolder::Time last_request;
  std::vector<std::uint8_t> input;  // bytes of requests that are not complete yet
  LineHolder::Time frame_began;
  bool dropped = false;  // what it had sent before is not carried out any more
};
using ServerClientPtr = std::shared_ptr<ServerClient>;

struct ServerCore : std::enable_shared_from_this<ServerCore> {
  ServerCore(const boost::asio::any_io_executor& on, ModbusServerOptions with, LineRules rules,
             std::unique_ptr<ModbusResponder> answers);

  void show(const base::CellSignal& signal);
  [[nodiscard]] base::PlcInputs inputs() const;

  // Lets a connection go; may be called again for the same one.
  void drop(std::uint64_t number);
  // For one more connection.
  void make_room();

  // Hands the inputs out; they say whether the line is contested.
  void tell();
  // Hands them out if that has changed since it was told last, and looks again when it changes back. Silent
  // before the first write: nobody hears a PLC that never spoke.
  void tell_contest();

  boost::asio::any_io_executor executor;
  ModbusServerOptions options;
  std::unique_ptr<ModbusResponder> responder;
  boost::asio::ip::tcp::acceptor acceptor;
  boost::asio::steady_timer pause;
  boost::asio::steady_timer contest_over;
  LineHolder line;
  std::vector<ServerClientPtr> clients;
  base::CellSignal latest;
  ModbusCounters counters;
  std::function<void(const base::PlcInputs&)> listener;
  bool contest_told = false;
  bool stopped = false;
};
using ServerCorePtr = std::shared_ptr<ServerCore>;

// Answers one connection until it ends.
Awaitable<void> serve_client(ServerCorePtr core, ServerClientPtr client);

}  // namespace crestgate::driver
