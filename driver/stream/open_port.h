// SPDX-License-Identifier: Apache-2.0
#pragma once
// Opens whatever a cell's description calls its port.

#include <chrono>
#include <memory>
#include <string>
#include <string_view>
#include <variant>

#include "base/result.h"
#include "driver/stream/byte_stream.h"
#include "driver/stream/serial_stream.h"
#include "driver/stream/tcp_stream.h"

namespace crestgate::driver {

struct PortIdentity {
  std::string text;  // "/dev/ttyUSB0", "usb:0403:6001:SN123", "path:1-1.2:1.0"
};
using PortAddress = std::variant<PortIdentity, TcpAddress>;

// Reads "tcp:HOST:PORT" (IPv6 in brackets: "tcp:[::1]:4001"), "usb:...", "path:..." or an absolute path.
// Errors  kInvalidConfig: none of these; the detail says what was expected.
[[nodiscard]] base::Result<PortAddress> parse_port_address(std::string_view text);

struct PortOptions {
  PortAddress address;
  SerialOptions serial;  // not used by TCP
  std::chrono::milliseconds connect_timeout{2000};
};

// Errors  those of find_port, open_serial and open_tcp.
[[nodiscard]] Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_port(
    boost::asio::any_io_executor executor, PortOptions options);

}  // namespace crestgate::driver
