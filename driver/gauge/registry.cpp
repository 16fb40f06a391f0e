// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/registry.h"

#include <array>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>

#include "driver/gauge/gauge_station.h"
#include "driver/gauge/link/link_gauge.h"

namespace crestgate::driver {
namespace {

std::unique_ptr<Gauge> make_link_session(const boost::asio::any_io_executor& executor,
                                         std::unique_ptr<ByteStream> stream, const GaugeConfig& config) {
  LinkOptions options;
  options.expected_serial_number = config.expected_serial_number;
  return make_link_gauge(executor, std::move(stream), std::move(options));
}

constexpr std::array kKinds = {
    GaugeKind{"link", "a gauge that speaks the open gauge link, version 1", Maturity::kStable,
              make_link_session},
};

}  // namespace

std::string_view name_of(Maturity maturity) {
  switch (maturity) {
    case Maturity::kExperimental:
      return "experimental";
    case Maturity::kBeta:
      return "beta";
    case Maturity::kStable:
      return "stable";
  }
  return "unknown";
}

std::span<const GaugeKind> gauge_kinds() { return kKinds; }

base::Result<std::unique_ptr<Gauge>> make_gauge(const boost::asio::any_io_executor& executor,
                                                const GaugeConfig& config) {
  std::string known;
  for (const GaugeKind& kind : kKinds) {
    known += (known.empty() ? "" : ", ") + std::string(kind.name);
    if (kind.name != config.kind) continue;
    OpenStream open = [executor, port = config.port] { return open_port(executor, port); };
    MakeSession make = [executor, config,
                        make_session = kind.make_session](std::unique_ptr<ByteStream> stream) {
      return make_session(executor, std::move(stream), config);
    };
    return make_gauge_station(executor, std::move(open), std::move(make));
  }
  return base::Error{base::ErrorCode::kInvalidConfig,
                     "gauge kind \"" + config.kind + "\" is not known; there is: " + known};
}

}  // namespace crestgate::driver
