// SPDX-License-Identifier: Apache-2.0
#pragma once
// The times of a scanner.

#include <chrono>

namespace crestgate::driver {

struct ScanTiming {
  std::chrono::milliseconds first_pause{500};  // before the port is opened again; doubled after every failure
  std::chrono::milliseconds longest_pause{5000};
  std::chrono::milliseconds silence{100};         // after opening, before labels count
  std::chrono::milliseconds silence_limit{2000};  // a port that does not fall silent is closed again
  std::chrono::milliseconds patience{2000};       // from the first character of a label to its end
};

}  // namespace crestgate::driver
