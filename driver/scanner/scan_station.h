// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/scanner: what all scanners share. Keeps a port open, and makes labels of what comes from it.

#include <chrono>
#include <cstddef>
#include <functional>
#include <memory>
#include <span>
#include <string>

#include "driver/scanner/line_assembler.h"
#include "driver/scanner/scan_timing.h"
#include "driver/scanner/scanner.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

using OpenScanPort = std::function<Awaitable<base::Result<std::unique_ptr<ByteStream>>>()>;
using DecodeScan = std::function<void(std::span<const std::byte>, LineAssembler::Instant, LineAssembler&)>;

struct ScanSource {
  std::string name;  // for people
  OpenScanPort open;
  std::function<DecodeScan()> make_decoder;  // a fresh one for each connection
};

// Purpose  opens, waits until the port is silent, reads until it is lost, pauses, and so on until stop().
//          Whatever comes before that silence is thrown away: it may be the tail of a label that was scanned
//          before the port was opened.
// Note     the pauses are stretched by up to a tenth by chance, so that cells do not reconnect in step.
[[nodiscard]] std::unique_ptr<Scanner> make_scan_station(const boost::asio::any_io_executor& executor,
                                                         ScanSource source, const ScanTiming& timing);

}  // namespace crestgate::driver
