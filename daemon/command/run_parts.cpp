// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/run_parts.h"

#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>

#include "daemon/command/run_outputs.h"
#include "driver/gauge/gauge.h"
#include "driver/gauge/registry.h"
#include "driver/scanner/scanner.h"
#include "driver/signal/modbus/modbus_server.h"
#include "driver/signal/modbus/plc_client.h"

namespace crestgate::command {
namespace {

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
  base::Outcome open(boost::asio::io_context& io, const base::Clock& clock,
                     const cell::CellDescription& cell) {
    const auto opened =
        cell.plc.role == cell::ModbusRole::kServer ? open_server(io, cell.plc) : open_client(io, cell.plc);
    if (!opened) return opened.error();
    for (const cell::OutputDescription& described : cell.outputs) {
      auto output = make_output(io, clock, described);
      if (!output) return output.error();
      outputs_.push_back(std::move(*output));
    }
    for (const cell::GaugeDescription& described : cell.gauges) {
      auto gauge = make_cell_gauge(io, described);
      if (!gauge) return gauge.error();
      gauges_.push_back(std::move(*gauge));
    }
    if (!cell.scanner) return base::Done{};
    driver::ScannerOptions options{.port = cell.scanner->port, .serial = {}};
    options.serial.baud = cell.scanner->baud;
    auto scanner = driver::make_scanner(io.get_executor(), options);
    if (!scanner) return scanner.error();
    scanner_ = std::move(*scanner);
    return base::Done{};
  }

  [[nodiscard]] std::vector<driver::Gauge*> gauges() override {
    std::vector<driver::Gauge*> all;
    for (const auto& gauge : gauges_) all.push_back(gauge.get());
    return all;
  }

  [[nodiscard]] std::vector<driver::SignalOutput*> outputs() override {
    std::vector<driver::SignalOutput*> all{plc_.get()};
    for (const auto& output : outputs_) all.push_back(output.get());
    return all;
  }

  void on_plc(std::function<void(const base::PlcInputs&)> listener) override {
    if (plc_server_ != nullptr) {
      plc_server_->on_inputs(std::move(listener));
    } else {
      plc_client_->on_inputs(std::move(listener));
    }
  }

  [[nodiscard]] std::uint16_t plc_port() const override { return plc_port_; }
  [[nodiscard]] driver::Scanner* scanner() override { return scanner_.get(); }

  void outputs_off() override {
    for (driver::SignalOutput* output : outputs()) output->stop();
  }

  void stop() override {
    outputs_off();
    if (scanner_) scanner_->stop();
    for (const auto& gauge : gauges_) gauge->stop();
  }

 private:
  base::Outcome open_server(boost::asio::io_context& io, const cell::PlcDescription& plc) {
    driver::ModbusServerOptions options;
    options.bind_address = plc.address;
    options.port = plc.port;
    options.unit_id = plc.unit;
    options.allowed_writers = plc.allowed_writers;
    auto server = driver::open_modbus_server(io.get_executor(), options);
    if (!server) return server.error();
    plc_server_ = server->get();
    plc_port_ = plc_server_->port();
    plc_ = under_lease(io, std::move(*server));
    return base::Done{};
  }

  base::Outcome open_client(boost::asio::io_context& io, const cell::PlcDescription& plc) {
    driver::PlcClientOptions options;
    options.peer.host = plc.address;
    options.peer.port = plc.port;
    options.peer.unit = plc.unit;
    options.cell_block = plc.cell_block;
    options.plc_block = plc.plc_block;
    auto client = driver::make_plc_client(io.get_executor(), options);
    if (!client) return client.error();
    plc_client_ = client->get();
    plc_port_ = plc.port;
    plc_ = under_lease(io, std::move(*client));
    return base::Done{};
  }

  std::unique_ptr<driver::SignalOutput> plc_;
  driver::ModbusServer* plc_server_ = nullptr;  // inside plc_: one of the two
  driver::PlcClient* plc_client_ = nullptr;
  std::uint16_t plc_port_ = 0;
  std::vector<std::unique_ptr<driver::SignalOutput>> outputs_;
  std::vector<std::unique_ptr<driver::Gauge>> gauges_;
  std::unique_ptr<driver::Scanner> scanner_;
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
  for (const cell::OutputDescription& output : cell.outputs) {
    if (const auto checked = check_output(output); !checked) return checked.error();
  }
  for (const cell::GaugeDescription& gauge : cell.gauges) {
    if (const auto checked = check_gauge(gauge); !checked) return checked.error();
  }
  boost::system::error_code failure;
  boost::asio::ip::make_address(cell.plc.address, failure);
  if (failure)
    return invalid("plc.address: expected an address in numbers, found '" + cell.plc.address + "'");
  return base::Done{};
}

base::Result<std::unique_ptr<RunParts>> RunParts::make(boost::asio::io_context& io, const base::Clock& clock,
                                                       const cell::CellDescription& cell) {
  if (const auto checked = check_parts(cell); !checked) return checked.error();
  auto parts = std::make_unique<HardwareParts>();
  const auto outcome = parts->open(io, clock, cell);
  if (!outcome) return outcome.error();
  return std::unique_ptr<RunParts>(std::move(parts));
}

}  // namespace crestgate::command
