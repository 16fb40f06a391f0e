// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/modbus_server.h"

#include <chrono>
#include <exception>
#include <utility>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <fcntl.h>

#include "driver/signal/modbus/server_session.h"
#include "driver/stream/asio_stream.h"
#include "driver/stream/socket_tuning.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

void no_discard(tcp::socket& /*socket*/) {}

// The address as people and options name it: an IPv4 peer of an IPv6 socket by its IPv4 address.
std::string plain_name(const asio::ip::address& address) {
  if (address.is_v6() && address.to_v6().is_v4_mapped()) {
    return asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6()).to_string();
  }
  return address.to_string();
}

void welcome(const ServerCorePtr& core, tcp::socket socket) {
  boost::system::error_code gone;
  const tcp::endpoint peer = socket.remote_endpoint(gone);
  if (gone || !tune_tcp_socket(socket.native_handle())) return;
  core->make_room();
  const AsioStreamHooks<tcp::socket> hooks{.discard = no_discard, .before_close = nullptr};
  auto client = std::make_shared<ServerClient>();
  client->number = ++core->counters.accepted;
  client->stream = std::make_unique<AsioStream<tcp::socket>>(std::move(socket), "modbus client", hooks);
  client->last_request = std::chrono::steady_clock::now();
  core->clients.push_back(client);
  core->line.came(client->number, plain_name(peer.address()));
  asio::co_spawn(core->executor, serve_client(core, client), [core, client](const std::exception_ptr& error) {
    if (!error) return;
    core->drop(client->number);
    std::rethrow_exception(error);  // a bug: it ends io_context::run and the program, never goes on half-done
  });
}

Awaitable<void> accept_for_ever(ServerCorePtr core) {
  while (!core->stopped) {
    auto accepting = core->acceptor.async_accept(asio::as_tuple(asio::use_awaitable));
    auto [error, socket] = co_await std::move(accepting);
    if (core->stopped) break;
    if (!error) {
      welcome(core, std::move(socket));
      continue;
    }
    // Out of descriptors, most likely: try again soon rather than spin.
    core->pause.expires_after(std::chrono::milliseconds(100));
    co_await core->pause.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

class Server final : public ModbusServer {
 public:
  explicit Server(ServerCorePtr core) : core_(std::move(core)) {
    core_->show(made_safe(core_->latest));
    asio::co_spawn(core_->executor, accept_for_ever(core_), [core = core_](const std::exception_ptr& error) {
      boost::system::error_code ignored;  // nobody accepts any more: let clients see it
      if (!error) return;
      core->acceptor.close(ignored);
      std::rethrow_exception(error);
    });
  }
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  Server(Server&&) = delete;
  Server& operator=(Server&&) = delete;
  // Cancelling a timer throws only on a broken reactor.
  ~Server() override {  // NOLINT(bugprone-exception-escape)
    core_->listener = nullptr;
    Server::stop();
  }

  [[nodiscard]] std::string_view name() const override { return "modbus"; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {true,
            "the PLC takes a closed connection, or a heartbeat that did not move for 2 s, as not accepted"};
  }
  base::Result<Applied> apply(const base::CellSignal& signal) override {
    if (core_->stopped) return base::Error{base::ErrorCode::kCancelled, "the Modbus server was stopped"};
    core_->latest = signal;
    core_->show(signal);
    return Applied::kSent;
  }
  void safe() override { core_->show(made_safe(core_->latest)); }
  void stop() override {
    if (std::exchange(core_->stopped, true)) return;
    boost::system::error_code ignored;  // it is closed in any case
    core_->acceptor.close(ignored);
    core_->pause.cancel();
    core_->contest_over.cancel();
    while (!core_->clients.empty()) core_->drop(core_->clients.back()->number);
  }
  [[nodiscard]] std::uint16_t port() const override {
    boost::system::error_code error;
    return core_->acceptor.local_endpoint(error).port();
  }
  [[nodiscard]] ModbusCounters counters() const override {
    ModbusCounters counters = core_->counters;
    counters.connections = core_->clients.size();
    return counters;
  }
  [[nodiscard]] base::PlcInputs inputs() const override { return core_->inputs(); }
  void on_inputs(std::function<void(const base::PlcInputs&)> listener) override {
    core_->listener = std::move(listener);
  }

 private:
  ServerCorePtr core_;
};

// The options' words about who may write, as the line wants them.
base::Result<LineRules> line_rules(const ModbusServerOptions& options, const std::string& where) {
  LineRules rules;
  rules.holder_silence = options.holder_silence;
  rules.contest_shown = options.contest_shown;
  if (options.holder_silence.count() <= 0 || options.contest_shown.count() <= 0) {
    return base::Error{base::ErrorCode::kInvalidConfig, where + ": the times of the line must be above 0 ms"};
  }
  for (const std::string& writer : options.allowed_writers) {
    boost::system::error_code error;
    const asio::ip::address address = asio::ip::make_address(writer, error);
    if (error) {
      std::string detail = where;
      detail += ": allowed writer \"" + writer + "\": expected an address in numbers, such as 192.168.0.20";
      return base::Error{base::ErrorCode::kInvalidConfig, detail};
    }
    rules.allowed_writers.push_back(plain_name(address));
  }
  return rules;
}

base::Error bind_error(const std::string& where, const boost::system::error_code& error) {
  if (error == asio::error::address_in_use) {
    return {base::ErrorCode::kBusy, where + ": the port is in use by another program"};
  }
  if (error == asio::error::access_denied) {
    return {base::ErrorCode::kRefused, where + ": no right to use this port (those below 1024 need one)"};
  }
  return {base::ErrorCode::kIo, where + ": cannot listen (" + error.message() + ")"};
}

}  // namespace

base::Result<std::unique_ptr<ModbusServer>> open_modbus_server(const asio::any_io_executor& executor,
                                                               const ModbusServerOptions& options) {
  const std::string where = "modbus " + options.bind_address + ":" + std::to_string(options.port);
  boost::system::error_code error;
  const asio::ip::address address = asio::ip::make_address(options.bind_address, error);
  if (error) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       where + ": expected an address in numbers, such as 192.168.0.20 or 0.0.0.0"};
  }
  if (options.connection_limit == 0) {
    return base::Error{base::ErrorCode::kInvalidConfig, where + ": the connection limit must be 1 or more"};
  }
  auto rules = line_rules(options, where);
  if (!rules) return rules.error();
  auto responder = ModbusResponder::make();
  if (!responder) return responder.error();
  auto core = std::make_shared<ServerCore>(executor, options, *std::move(rules), *std::move(responder));
  const tcp::endpoint endpoint(address, options.port);
  core->acceptor.open(endpoint.protocol(), error);
  if (!error) core->acceptor.set_option(tcp::acceptor::reuse_address(true), error);
  if (!error) core->acceptor.bind(endpoint, error);
  if (!error) core->acceptor.listen(asio::socket_base::max_listen_connections, error);
  if (error) return bind_error(where, error);
  if (::fcntl(core->acceptor.native_handle(), F_SETFD, FD_CLOEXEC) != 0) {
    return base::Error{base::ErrorCode::kIo, where + ": cannot keep the socket from child processes"};
  }
  std::unique_ptr<ModbusServer> server = std::make_unique<Server>(std::move(core));
  return server;
}

}  // namespace crestgate::driver
