// SPDX-License-Identifier: Apache-2.0
#pragma once
// The kinds of gauge that this build knows: one explicit table.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "driver/gauge/gauge.h"
#include "driver/stream/open_port.h"

namespace crestgate::driver {

enum class Maturity : std::uint8_t { kExperimental, kBeta, kStable };
[[nodiscard]] std::string_view name_of(Maturity maturity);

// What a cell's description says of its gauge.
struct GaugeConfig {
  std::string kind = "link";  // a name of the table
  PortOptions port;
  std::string expected_serial_number;  // "": any gauge
};

struct GaugeKind {
  std::string_view name;   // in a cell's description
  std::string_view title;  // for people
  Maturity maturity;
  // One session over a stream that is open.
  std::unique_ptr<Gauge> (*make_session)(const boost::asio::any_io_executor& executor,
                                         std::unique_ptr<ByteStream> stream, const GaugeConfig& config);
};

[[nodiscard]] std::span<const GaugeKind> gauge_kinds();

// Purpose  a gauge that connects by itself and comes back by itself (gauge_station.h).
// Errors   kInvalidConfig: no such kind; the detail names those there are.
[[nodiscard]] base::Result<std::unique_ptr<Gauge>> make_gauge(const boost::asio::any_io_executor& executor,
                                                              const GaugeConfig& config);

}  // namespace crestgate::driver
