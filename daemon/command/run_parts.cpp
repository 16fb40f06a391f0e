// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/run_parts.h"

#include <chrono>
#include <cstdlib>
#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <unistd.h>

#include "driver/gauge/gauge.h"
#include "driver/gauge/registry.h"
#include "driver/signal/lease.h"
#include "driver/signal/modbus/modbus_server.h"
#include "driver/signal/terminal/terminal_lamp.h"

namespace crestgate::command {
namespace {

// The cycle refreshes the outputs every 50 ms; one that is not told for this long is made safe.
constexpr std::chrono::milliseconds kLease{500};

base::Result<std::unique_ptr<driver::SignalOutput>> make_lamp(boost::asio::io_context& io) {
  // No thread runs yet that could change the environment.
  const char* no_color = std::getenv("NO_COLOR");  // NOLINT(concurrency-mt-unsafe)
  const char* term = std::getenv("TERM");          // NOLINT(concurrency-mt-unsafe)
  const auto look = driver::terminal_look(STDOUT_FILENO, no_color, term);
  auto lamp = driver::make_terminal_lamp(STDOUT_FILENO, look);
  if (!lamp) return lamp.error();
  return driver::make_leased(io.get_executor(), std::move(*lamp), kLease);
}

base::Result<std::unique_ptr<driver::Gauge>> make_cell_gauge(boost::asio::io_context& io,
                                                             const cell::GaugeDescription& described) {
  auto address = driver::parse_port_address(described.port);
  if (!address) return address.error();
  driver::GaugeConfig config;
  config.kind = described.kind;
  config.expected_serial_number = described.serial_number;
  config.port.address = *address;
  config.port.serial.baud = described.baud;
  config.port.serial.rts_cts = described.rts_cts;
  return driver::make_gauge(io.get_executor(), config);
}

class HardwareParts : public RunParts {
 public:
  base::Outcome open(boost::asio::io_context& io, const cell::CellDescription& cell) {
    driver::ModbusServerOptions options;
    options.bind_address = cell.plc.address;
    options.port = cell.plc.port;
    options.unit_id = cell.plc.unit;
    auto server = driver::open_modbus_server(io.get_executor(), options);
    if (!server) return server.error();
    plc_server_ = server->get();
    plc_ = driver::make_leased(io.get_executor(), std::move(*server), kLease);
    for (std::size_t i = 0; i < cell.lamps.size(); ++i) {
      auto lamp = make_lamp(io);
      if (!lamp) return lamp.error();
      lamps_.push_back(std::move(*lamp));
    }
    for (const cell::GaugeDescription& described : cell.gauges) {
      auto gauge = make_cell_gauge(io, described);
      if (!gauge) return gauge.error();
      gauges_.push_back(std::move(*gauge));
    }
    return base::Done{};
  }

  [[nodiscard]] std::vector<driver::Gauge*> gauges() override {
    std::vector<driver::Gauge*> all;
    for (const auto& gauge : gauges_) all.push_back(gauge.get());
    return all;
  }

  [[nodiscard]] std::vector<driver::SignalOutput*> outputs() override {
    std::vector<driver::SignalOutput*> all{plc_.get()};
    for (const auto& lamp : lamps_) all.push_back(lamp.get());
    return all;
  }

  void on_plc(std::function<void(const base::PlcInputs&)> listener) override {
    plc_server_->on_inputs(std::move(listener));
  }

  [[nodiscard]] std::uint16_t plc_port() const override { return plc_server_->port(); }

  void outputs_off() override {
    for (driver::SignalOutput* output : outputs()) output->stop();
  }

  void stop() override {
    outputs_off();
    for (const auto& gauge : gauges_) gauge->stop();
  }

 private:
  std::unique_ptr<driver::SignalOutput> plc_;
  driver::ModbusServer* plc_server_ = nullptr;  // inside plc_
  std::vector<std::unique_ptr<driver::SignalOutput>> lamps_;
  std::vector<std::unique_ptr<driver::Gauge>> gauges_;
};

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

base::Outcome check_gauge(const cell::GaugeDescription& gauge) {
  std::string kinds;
  bool known = false;
  for (const driver::GaugeKind& kind : driver::gauge_kinds()) {
    kinds += (kinds.empty() ? "" : ", ") + std::string(kind.name);
    known = known || kind.name == gauge.kind;
  }
  if (!known) return invalid("gauge.kind: expected one of: " + kinds + "; found '" + gauge.kind + "'");
  const auto address = driver::parse_port_address(gauge.port);
  if (!address) return invalid("gauge.port: " + address.error().detail);
  return base::Done{};
}

}  // namespace

base::Outcome check_parts(const cell::CellDescription& cell) {
  for (const cell::GaugeDescription& gauge : cell.gauges) {
    if (const auto checked = check_gauge(gauge); !checked) return checked.error();
  }
  boost::system::error_code failure;
  boost::asio::ip::make_address(cell.plc.address, failure);
  if (failure)
    return invalid("plc.address: expected an address in numbers, found '" + cell.plc.address + "'");
  return base::Done{};
}

base::Result<std::unique_ptr<RunParts>> RunParts::make(boost::asio::io_context& io,
                                                       const cell::CellDescription& cell) {
  if (const auto checked = check_parts(cell); !checked) return checked.error();
  auto parts = std::make_unique<HardwareParts>();
  const auto outcome = parts->open(io, cell);
  if (!outcome) return outcome.error();
  return std::unique_ptr<RunParts>(std::move(parts));
}

}  // namespace crestgate::command
