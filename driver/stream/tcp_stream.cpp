// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/tcp_stream.h"

#include <array>
#include <utility>

#include <boost/asio/ip/tcp.hpp>
#include <sys/socket.h>

#include "driver/stream/asio_stream.h"
#include "driver/stream/socket_tuning.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

void discard_tcp(tcp::socket& socket) {
  // Bounded: a peer that sends faster than we read must not hold us here.
  std::array<std::byte, 4096> waste{};
  for (int turn = 0; turn < 64; ++turn) {
    if (::recv(socket.native_handle(), waste.data(), waste.size(), MSG_DONTWAIT) <= 0) return;
  }
}

}  // namespace

Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_tcp(asio::any_io_executor executor,
                                                              TcpAddress address, Deadline deadline) {
  const std::string name = "tcp:" + address.host + ":" + std::to_string(address.port);
  boost::system::error_code error;
  const asio::ip::address host = asio::ip::make_address(address.host, error);
  if (error) {
    co_return base::Error{base::ErrorCode::kInvalidConfig,
                          name + ": expected an address in numbers, such as 192.168.0.20"};
  }
  const tcp::endpoint endpoint(host, address.port);
  tcp::socket socket(executor);
  socket.open(endpoint.protocol(), error);
  if (error || !tune_tcp_socket(socket.native_handle())) {
    co_return base::Error{base::ErrorCode::kIo, name + ": cannot make a socket"};
  }
  const auto guard = std::make_shared<DeadlineGuard>(executor);
  const asio::cancellation_slot slot = guard->arm(deadline);
  auto pending =
      socket.async_connect(endpoint, asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
  const auto [connected] = co_await std::move(pending);
  guard->disarm();
  if (connected && guard->expired()) {
    co_return base::Error{base::ErrorCode::kNoReply, name + ": no connection before the deadline"};
  }
  if (connected) {
    co_return base::Error{base::ErrorCode::kDisconnected,
                          name + ": cannot connect (" + connected.message() + ")"};
  }
  const AsioStreamHooks<tcp::socket> hooks{.discard = discard_tcp, .before_close = nullptr};
  std::unique_ptr<ByteStream> stream =
      std::make_unique<AsioStream<tcp::socket>>(std::move(socket), name, hooks);
  co_return stream;
}

}  // namespace crestgate::driver
