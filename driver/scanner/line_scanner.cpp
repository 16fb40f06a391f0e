// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/line_scanner.h"

#include <variant>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>

#include "driver/scanner/scan_station.h"

namespace crestgate::driver {
namespace {

std::string name_of(const PortAddress& address) {
  if (const auto* tcp = std::get_if<TcpAddress>(&address)) {
    return "tcp:" + tcp->host + ":" + std::to_string(tcp->port);
  }
  return std::get<PortIdentity>(address).text;
}

void decode_lines(std::span<const std::byte> bytes, LineAssembler::Instant now, LineAssembler& lines) {
  for (const std::byte byte : bytes) {
    const char character = static_cast<char>(byte);
    if (character == '\r' || character == '\n') {
      lines.end_line(now);
    } else {
      lines.take(character, now);
    }
  }
}

}  // namespace

std::unique_ptr<Scanner> make_line_scanner(const boost::asio::any_io_executor& executor,
                                           const LineScannerOptions& options) {
  ScanSource source{.name = name_of(options.port.address),
                    .open = [executor, port = options.port] { return open_port(executor, port); },
                    .make_decoder = [] { return DecodeScan(decode_lines); }};
  return make_scan_station(executor, std::move(source), options.timing);
}

}  // namespace crestgate::driver
