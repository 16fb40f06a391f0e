// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/run_outputs.h"

#include <chrono>
#include <cstdlib>
#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <unistd.h>

#include "driver/signal/gpio/gpio_lights.h"
#include "driver/signal/guard/guard_process.h"
#include "driver/signal/guard/guarded_lights.h"
#include "driver/signal/lease.h"
#include "driver/signal/lights/lights_output.h"
#include "driver/signal/modbus/coil_lights.h"
#include "driver/signal/modbus/plc_client.h"
#include "driver/signal/relay/relay_lights.h"
#include "driver/signal/terminal/terminal_lamp.h"

namespace crestgate::command {
namespace {

using cell::FallsBy;
using cell::OutputDescription;
using cell::OutputKind;
using Device = std::unique_ptr<driver::LightDevice>;

// The cycle refreshes the outputs every 50 ms; one that is not told for this long is made safe.
constexpr std::chrono::milliseconds kLease{500};

base::Result<std::unique_ptr<driver::SignalOutput>> make_terminal() {
  // No thread runs yet that could change the environment.
  const char* no_color = std::getenv("NO_COLOR");  // NOLINT(concurrency-mt-unsafe)
  const char* term = std::getenv("TERM");          // NOLINT(concurrency-mt-unsafe)
  const auto look = driver::terminal_look(STDOUT_FILENO, no_color, term);
  auto lamp = driver::make_terminal_lamp(STDOUT_FILENO, look);
  if (!lamp) return lamp.error();
  return std::unique_ptr<driver::SignalOutput>(std::move(*lamp));
}

driver::ModbusClientOptions peer_of(const OutputDescription& output) {
  driver::ModbusClientOptions peer;
  peer.host = output.address;
  peer.port = output.tcp_port;
  peer.unit = output.unit;
  return peer;
}

base::Result<driver::PortOptions> port_of(const OutputDescription& output) {
  auto address = driver::parse_port_address(output.port);
  if (!address) return address.error();
  driver::PortOptions port;
  port.address = std::move(*address);
  port.serial = output.dialect.serial;
  return port;
}

base::Result<Device> make_relay(boost::asio::io_context& io, const OutputDescription& output) {
  auto port = port_of(output);
  if (!port) return port.error();
  if (output.falls_by != FallsBy::kGuard) {
    return driver::make_relay_lights(io.get_executor(), *port, output.dialect);
  }
  const auto* identity = std::get_if<driver::PortIdentity>(&port->address);
  if (identity == nullptr) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "output '" + output.name + "': the guard needs a serial port of this machine"};
  }
  return driver::make_guarded_lights(
      {.device = driver::GuardedRelay{.port = *identity, .dialect = output.dialect}, .program = ""});
}

base::Result<Device> make_coils(boost::asio::io_context& io, const OutputDescription& output) {
  driver::CoilLightsOptions options;
  options.peer = peer_of(output);
  options.first_coil = output.first_coil;
  options.lights = static_cast<std::uint16_t>(output.lights.size());
  options.falls_after = std::chrono::milliseconds(output.falls_after_ms);
  auto coils = driver::make_coil_lights(io.get_executor(), options);
  if (!coils) return coils.error();
  return Device(std::move(*coils));
}

base::Result<Device> make_device(boost::asio::io_context& io, const OutputDescription& output) {
  if (output.kind == OutputKind::kRelay) return make_relay(io, output);
  if (output.kind == OutputKind::kCoils) return make_coils(io, output);
  if (output.falls_by == FallsBy::kGuard) {
    return driver::make_guarded_lights({.device = output.gpio, .program = ""});
  }
  return driver::make_gpio_lights(output.gpio);
}

base::Result<std::unique_ptr<driver::SignalOutput>> make_registers(boost::asio::io_context& io,
                                                                   const OutputDescription& output) {
  driver::PlcClientOptions options;
  options.peer = peer_of(output);
  options.cell_block = output.cell_block;
  auto client = driver::make_plc_client(io.get_executor(), options);
  if (!client) return client.error();
  return std::unique_ptr<driver::SignalOutput>(std::move(*client));
}

base::Result<std::unique_ptr<driver::SignalOutput>> make_bare(boost::asio::io_context& io,
                                                              const base::Clock& clock,
                                                              const OutputDescription& output) {
  if (output.kind == OutputKind::kTerminal) return make_terminal();
  if (output.falls_by == FallsBy::kGuard) {
    if (const auto there = driver::check_guard_program(); !there) {
      return there.error();
    }
  }
  if (output.kind == OutputKind::kRegisters) return make_registers(io, output);
  auto device = make_device(io, output);
  if (!device) return device.error();
  const auto green =
      output.falls_by == FallsBy::kPulses ? driver::GreenCarried::kPulses : driver::GreenCarried::kSteady;
  return driver::make_lights_output(output.lights, std::move(*device), {.name = output.name, .green = green},
                                    clock);
}

}  // namespace

base::Outcome check_output(const OutputDescription& output) {
  const auto invalid = [&](const std::string& detail) {
    return base::Error{base::ErrorCode::kInvalidConfig, "output '" + output.name + "': " + detail};
  };
  if (output.kind == OutputKind::kRelay) {
    const auto port = port_of(output);
    if (!port) return invalid("port: " + port.error().detail);
  }
  if (output.kind == OutputKind::kCoils || output.kind == OutputKind::kRegisters) {
    boost::system::error_code failure;
    boost::asio::ip::make_address(output.address, failure);
    if (failure) return invalid("address: expected one in numbers, found '" + output.address + "'");
  }
  return base::Done{};
}

std::unique_ptr<driver::SignalOutput> under_lease(boost::asio::io_context& io,
                                                  std::unique_ptr<driver::SignalOutput> output) {
  return driver::make_leased(io.get_executor(), std::move(output), kLease);
}

base::Result<std::unique_ptr<driver::SignalOutput>> make_output(boost::asio::io_context& io,
                                                                const base::Clock& clock,
                                                                const OutputDescription& output) {
  auto bare = make_bare(io, clock, output);
  if (!bare) return bare.error();
  return under_lease(io, std::move(*bare));
}

}  // namespace crestgate::command
