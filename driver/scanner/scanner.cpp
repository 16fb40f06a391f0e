// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/scanner.h"

#include <string_view>
#include <utility>
#include <variant>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/ip/address.hpp>

#include "driver/scanner/key_scanner.h"
#include "driver/scanner/line_scanner.h"

namespace crestgate::driver {
namespace {

constexpr std::string_view kKeys = "keys:";

base::Error complaint(const std::string& port, const std::string& expected) {
  return {base::ErrorCode::kInvalidConfig, "scanner \"" + port + "\": expected " + expected};
}

}  // namespace

base::Result<std::unique_ptr<Scanner>> make_scanner(const boost::asio::any_io_executor& executor,
                                                    const ScannerOptions& options) {
  const std::string& port = options.port;
  if (port.starts_with(kKeys)) {
    const std::string path = port.substr(kKeys.size());
    if (path.size() < 2 || path.front() != '/') {
      return complaint(port, "keys:/dev/input/by-id/...-event-kbd");
    }
    return make_key_scanner(executor, {.path = path});
  }
  if (port.starts_with("/dev/input/")) {
    return complaint(port, "keys:" + port + ", because this device types its labels");
  }
  auto address = parse_port_address(port);
  if (!address) {
    return complaint(port,
                     "/dev/..., usb:VENDOR:PRODUCT:SERIAL, path:SOCKET, tcp:ADDRESS:PORT or "
                     "keys:/dev/input/by-id/...-event-kbd");
  }
  if (const auto* tcp = std::get_if<TcpAddress>(&*address)) {
    boost::system::error_code error;
    static_cast<void>(boost::asio::ip::make_address(tcp->host, error));
    if (error) return complaint(port, "an address in numbers, such as tcp:192.168.0.20:4001");
  }
  return make_line_scanner(executor, {.port = {.address = *std::move(address), .serial = options.serial}});
}

}  // namespace crestgate::driver
