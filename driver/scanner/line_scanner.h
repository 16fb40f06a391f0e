// SPDX-License-Identifier: Apache-2.0
#pragma once
// A scanner that sends lines: on a serial port, or behind a serial server.

#include <memory>

#include "driver/scanner/scan_timing.h"
#include "driver/scanner/scanner.h"
#include "driver/stream/open_port.h"

namespace crestgate::driver {

struct LineScannerOptions {
  PortOptions port;
  ScanTiming timing{};
};

// Purpose  labels end with CR, LF or CR LF.
// Note     the errors of open_port are no errors here: they are why the scanner is offline, until they pass.
[[nodiscard]] std::unique_ptr<Scanner> make_line_scanner(const boost::asio::any_io_executor& executor,
                                                         const LineScannerOptions& options);

}  // namespace crestgate::driver
