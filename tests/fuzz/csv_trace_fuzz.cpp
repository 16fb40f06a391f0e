// SPDX-License-Identifier: Apache-2.0
// Never crashes; what is accepted is whole, and reads back the same after being written.

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "protocol/exchange/csv_trace.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto trace = crestgate::protocol::parse_csv_trace(text, "input.csv");
  if (!trace.has_value()) {
    for (const char c : trace.error().detail) {
      if (c < ' ' || c > '~') std::abort();
    }
    return 0;
  }
  if (trace->heights_um.size() < 2 || !(trace->spacing_mm > 0.0)) std::abort();
  for (const double height : trace->heights_um) {
    if (std::isinf(height)) std::abort();
  }
  // Beyond these spacings the written positions overflow, or lose the digits that tell them apart.
  if (trace->spacing_mm < 1e-9 || trace->spacing_mm > 1e3) return 0;
  const std::string written = crestgate::protocol::format_csv_trace(trace->spacing_mm, trace->heights_um);
  const auto again = crestgate::protocol::parse_csv_trace(written, "again.csv");
  if (!again.has_value() || again->heights_um.size() != trace->heights_um.size()) std::abort();
  for (std::size_t i = 0; i < trace->heights_um.size(); ++i) {
    const double height = trace->heights_um[i];
    if (again->heights_um[i] != height && !(std::isnan(height) && std::isnan(again->heights_um[i])))
      std::abort();
  }
  return 0;
}
