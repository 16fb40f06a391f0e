// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/modbus_server.h"

#include <algorithm>
#include <array>
#include <exception>
#include <span>
#include <utility>
#include <vector>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <sys/socket.h>

#include "driver/signal/modbus/register_codec.h"
#include "driver/signal/modbus/responder.h"
#include "driver/stream/asio_stream.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using SteadyTime = std::chrono::steady_clock::time_point;

SteadyTime now() { return std::chrono::steady_clock::now(); }

struct Client {
  std::unique_ptr<ByteStream> stream;
  SteadyTime last_request;
  std::vector<std::uint8_t> input;  // bytes of requests that are not complete yet
  SteadyTime frame_began;
};
using ClientPtr = std::shared_ptr<Client>;

struct Core {
  Core(const asio::any_io_executor& on, ModbusServerOptions with, std::unique_ptr<ModbusResponder> answers)
      : executor(on), options(std::move(with)), responder(std::move(answers)), acceptor(on), pause(on) {}

  void show(const base::CellSignal& signal) { responder->set_cell_block(encode_cell_block(signal)); }
  void make_room() {
    if (clients.size() < options.connection_limit) return;
    const auto oldest = std::min_element(clients.begin(), clients.end(), [](const auto& a, const auto& b) {
      return a->last_request < b->last_request;
    });
    (*oldest)->stream->close();  // its coroutine ends by itself
    clients.erase(oldest);
    ++counters.closed_for_room;
  }

  asio::any_io_executor executor;
  ModbusServerOptions options;
  std::unique_ptr<ModbusResponder> responder;
  tcp::acceptor acceptor;
  asio::steady_timer pause;
  std::vector<ClientPtr> clients;
  base::CellSignal latest;
  ModbusCounters counters;
  std::function<void(const base::PlcInputs&)> listener;
  bool stopped = false;
};
using CorePtr = std::shared_ptr<Core>;

enum class Step : std::uint8_t { kGoOn, kClose };

constexpr std::uint8_t kReadFunction = 0x03;
constexpr std::uint8_t kReadWriteFunction = 0x17;

// Function 23 writes before it reads, and what it reads must be what the write led to: the cell's block as it
// stands after the listener. Asked for as function 3, whose answer has the same shape.
std::size_t read_half(Core& core, std::span<const std::uint8_t> request, ModbusFrame& answer) {
  constexpr std::size_t kReadRequest = kModbusHeader + 5;
  std::array<std::uint8_t, kReadRequest> read{};
  std::copy_n(request.begin(), kReadRequest, read.begin());
  read[4] = 0;
  read[5] = static_cast<std::uint8_t>(kReadRequest - (kModbusHeader - 1));
  read[kModbusHeader] = kReadFunction;
  const std::size_t size = core.responder->answer(read, answer);
  answer[kModbusHeader] =
      static_cast<std::uint8_t>(answer[kModbusHeader] + (kReadWriteFunction - kReadFunction));
  return size;
}

// The answer to one whole request.
std::size_t answer_request(Core& core, std::span<const std::uint8_t> request, ModbusFrame& answer) {
  ++core.counters.requests;
  const std::uint8_t unit = request[kModbusHeader - 1];
  const bool ours = unit == core.options.unit_id || unit == 0 || unit == 255;
  if (!ours) {
    ++core.counters.exceptions;
    return exception_answer(request, ModbusException::kGatewayPath, answer);
  }
  const std::size_t size = core.responder->answer(request, answer);
  const bool refused = (answer[kModbusHeader] & 0x80U) != 0;
  if (refused) {
    ++core.counters.exceptions;
  } else if (writes_registers(request.subspan(kModbusHeader))) {
    ++core.counters.writes;
    if (core.listener) core.listener(decode_plc_block(core.responder->plc_block()));
    if (request[kModbusHeader] == kReadWriteFunction) return read_half(core, request, answer);
  }
  return size;
}

// Answers every whole request that has come, in order.
Awaitable<Step> answer_all(CorePtr core, ClientPtr client) {
  ModbusFrame answer{};
  while (client->input.size() >= kModbusHeader) {
    const ModbusHeader header =
        read_modbus_header(std::span<const std::uint8_t>(client->input).first<kModbusHeader>());
    if (!is_modbus_header(header)) {
      ++core->counters.bad_headers;
      co_return Step::kClose;
    }
    const std::size_t whole = kModbusHeader - 1 + header.length;
    if (client->input.size() < whole) co_return Step::kGoOn;
    client->last_request = now();
    const std::size_t size = answer_request(*core, std::span(client->input).first(whole), answer);
    client->input.erase(client->input.begin(), client->input.begin() + static_cast<std::ptrdiff_t>(whole));
    auto writing = client->stream->write(std::as_bytes(std::span(answer).first(size)),
                                         now() + core->options.write_timeout);
    const auto written = co_await std::move(writing);
    client->frame_began = now();  // of what is left: our own writing is not the client's delay
    if (written) continue;
    if (written.error().code == base::ErrorCode::kNoReply) ++core->counters.write_timeouts;
    co_return Step::kClose;
  }
  co_return Step::kGoOn;
}

Awaitable<void> serve(CorePtr core, ClientPtr client) {
  std::array<std::byte, 1024> buffer{};
  while (true) {
    const bool between = client->input.empty();
    const SteadyTime deadline =
        between ? SteadyTime::max() : client->frame_began + core->options.frame_timeout;
    auto reading = client->stream->read_some(buffer, deadline);
    const auto got = co_await std::move(reading);
    if (!got) {
      if (got.error().code == base::ErrorCode::kNoReply) ++core->counters.frame_timeouts;
      break;
    }
    if (between) client->frame_began = now();
    for (const std::byte byte : std::span(buffer).first(*got)) {
      client->input.push_back(std::to_integer<std::uint8_t>(byte));
    }
    auto answering = answer_all(core, client);
    const Step step = co_await std::move(answering);
    if (step == Step::kClose) break;
  }
  client->stream->close();
  std::erase(core->clients, client);
}

void no_discard(tcp::socket& /*socket*/) {}

bool tune(int fd) {
  const auto set = [fd](int level, int name, int value) {
    return ::setsockopt(fd, level, name, &value, sizeof value) == 0;
  };
  return ::fcntl(fd, F_SETFD, FD_CLOEXEC) == 0 && set(IPPROTO_TCP, TCP_NODELAY, 1) &&
         set(SOL_SOCKET, SO_KEEPALIVE, 1) && set(IPPROTO_TCP, TCP_KEEPIDLE, 5) &&
         set(IPPROTO_TCP, TCP_KEEPINTVL, 2) && set(IPPROTO_TCP, TCP_KEEPCNT, 3) &&
         set(IPPROTO_TCP, TCP_USER_TIMEOUT, 10'000);
}

void welcome(const CorePtr& core, tcp::socket socket) {
  if (!tune(socket.native_handle())) return;
  core->make_room();
  const AsioStreamHooks<tcp::socket> hooks{.discard = no_discard, .before_close = nullptr};
  auto client = std::make_shared<Client>();
  client->stream = std::make_unique<AsioStream<tcp::socket>>(std::move(socket), "modbus client", hooks);
  client->last_request = now();
  core->clients.push_back(client);
  ++core->counters.accepted;
  asio::co_spawn(core->executor, serve(core, client), [core, client](const std::exception_ptr& error) {
    if (!error) return;
    client->stream->close();
    std::erase(core->clients, client);
    std::rethrow_exception(error);  // a bug: it ends io_context::run and the program, never goes on half-done
  });
}

Awaitable<void> accept_for_ever(CorePtr core) {
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
  explicit Server(CorePtr core) : core_(std::move(core)) {
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
    for (const ClientPtr& client : core_->clients) client->stream->close();
    core_->clients.clear();
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
  [[nodiscard]] base::PlcInputs inputs() const override {
    return decode_plc_block(core_->responder->plc_block());
  }
  void on_inputs(std::function<void(const base::PlcInputs&)> listener) override {
    core_->listener = std::move(listener);
  }

 private:
  CorePtr core_;
};

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
  auto responder = ModbusResponder::make();
  if (!responder) return responder.error();
  auto core = std::make_shared<Core>(executor, options, *std::move(responder));
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
