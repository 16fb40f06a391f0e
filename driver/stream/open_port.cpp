// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/open_port.h"

#include <charconv>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>

#include "driver/stream/port_list.h"

namespace crestgate::driver {
namespace {

base::Error bad_tcp(std::string_view text) {
  return {base::ErrorCode::kInvalidConfig,
          "port \"" + std::string(text) + "\": expected tcp:ADDRESS:PORT, for example tcp:192.168.0.20:4001"};
}

base::Result<PortAddress> parse_tcp(std::string_view text) {
  const std::string_view rest = text.substr(4);
  const std::size_t colon = rest.rfind(':');
  if (colon == std::string_view::npos || colon == 0) return bad_tcp(text);
  std::string_view host = rest.substr(0, colon);
  const std::string_view number = rest.substr(colon + 1);
  if (host.starts_with('[') && host.ends_with(']') && host.size() > 2) host = host.substr(1, host.size() - 2);
  std::uint16_t port = 0;
  const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), port);
  if (error != std::errc{} || end != number.data() + number.size() || port == 0) return bad_tcp(text);
  return PortAddress{TcpAddress{std::string(host), port}};
}

}  // namespace

base::Result<PortAddress> parse_port_address(std::string_view text) {
  if (text.starts_with("tcp:")) return parse_tcp(text);
  const bool names_something = (text.starts_with("usb:") && text.size() > 4) ||
                               (text.starts_with("path:") && text.size() > 5) ||
                               (text.starts_with("/") && text.size() > 1);
  if (names_something) return PortAddress{PortIdentity{std::string(text)}};
  return base::Error{base::ErrorCode::kInvalidConfig,
                     "port \"" + std::string(text) +
                         "\": expected /dev/..., usb:VENDOR:PRODUCT:SERIAL, path:SOCKET or tcp:ADDRESS:PORT"};
}

Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_port(boost::asio::any_io_executor executor,
                                                               PortOptions options) {
  if (const auto* tcp = std::get_if<TcpAddress>(&options.address)) {
    const Deadline deadline = std::chrono::steady_clock::now() + options.connect_timeout;
    auto pending = open_tcp(executor, *tcp, deadline);
    co_return co_await std::move(pending);
  }
  const auto name = find_port(std::get<PortIdentity>(options.address).text);
  if (!name) co_return name.error();
  co_return open_serial(executor, *name, options.serial);
}

}  // namespace crestgate::driver
