// SPDX-License-Identifier: Apache-2.0
#pragma once
// A scanner that types its labels: a keyboard to the system.

#include <memory>
#include <string>

#include "driver/scanner/scan_timing.h"
#include "driver/scanner/scanner.h"

namespace crestgate::driver {

struct KeyScannerOptions {
  std::string path;  // "/dev/input/by-id/...-event-kbd"
  // Takes the device for us alone, so that labels are typed nowhere else. Off only where there is no device.
  bool grab = true;
  ScanTiming timing{};
};

// Purpose  labels end with Enter; the scanner must be set to the US layout, without Caps Lock.
// Note     while the device is missing, taken by another program or closed to our account, that is why the
//          scanner is offline.
[[nodiscard]] std::unique_ptr<Scanner> make_key_scanner(const boost::asio::any_io_executor& executor,
                                                        const KeyScannerOptions& options);

}  // namespace crestgate::driver
