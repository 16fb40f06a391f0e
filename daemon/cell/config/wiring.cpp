// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/wiring.h"

#include <cstdint>
#include <filesystem>
#include <vector>

#include "daemon/cell/config/cell_description.h"
#include "registers/register_map.h"

namespace crestgate::cell {
namespace {

// Something of the outside world, and who uses it: a range of places (coils, registers) in a device, or all of it.
struct Use {
  std::string device;  // "serial port /dev/ttyUSB0"
  std::string user;    // "output 'lamp'"
  std::string places;  // "coils"; empty: the device as a whole
  std::uint32_t first = 0;
  std::uint32_t count = 1;
};

std::string port_name(const std::string& port) {
  const bool path = !port.empty() && port.front() == '/';
  return "port " + (path ? std::filesystem::path(port).lexically_normal().string() : port);
}

std::string peer_name(const std::string& address, std::uint16_t port) {
  return "Modbus device " + address + " port " + std::to_string(port);
}

void add_output(const OutputDescription& output, std::vector<Use>& uses) {
  const std::string user = "output '" + output.name + "'";
  switch (output.kind) {
    case OutputKind::kTerminal:
      uses.push_back({.device = "standard output", .user = user, .places = ""});
      break;
    case OutputKind::kGpio:
      for (const driver::GpioLine& line : output.gpio.lines) {
        uses.push_back(
            {.device = "line " + line.line + " of " + output.gpio.chip, .user = user, .places = ""});
      }
      break;
    case OutputKind::kRelay:
      uses.push_back({.device = port_name(output.port), .user = user, .places = ""});
      break;
    case OutputKind::kCoils:
      uses.push_back({.device = peer_name(output.address, output.tcp_port),
                      .user = user,
                      .places = "coils",
                      .first = output.first_coil,
                      .count = static_cast<std::uint32_t>(output.lights.size())});
      break;
    case OutputKind::kRegisters:
      uses.push_back({.device = peer_name(output.address, output.tcp_port),
                      .user = user,
                      .places = "registers",
                      .first = output.cell_block,
                      .count = registers::cell::kSize});
      break;
  }
}

std::vector<Use> uses_of(const CellDescription& cell) {
  std::vector<Use> uses;
  const std::string plc = peer_name(cell.plc.address, cell.plc.port);
  if (cell.plc.role == ModbusRole::kServer) {
    if (cell.plc.port != 0) uses.push_back({.device = plc, .user = "the cell's own server", .places = ""});
  } else {
    uses.push_back({.device = plc,
                    .user = "the PLC's line (cell_block)",
                    .places = "registers",
                    .first = cell.plc.cell_block,
                    .count = registers::cell::kSize});
    uses.push_back({.device = plc,
                    .user = "the PLC's line (plc_block)",
                    .places = "registers",
                    .first = cell.plc.plc_block,
                    .count = registers::plc::kSize});
  }
  for (const GaugeDescription& gauge : cell.gauges) {
    const std::string user = gauge.name.empty() ? "the gauge" : "gauge '" + gauge.name + "'";
    uses.push_back({.device = port_name(gauge.port), .user = user, .places = ""});
    uses.push_back({.device = "serial number " + gauge.serial_number, .user = user, .places = ""});
  }
  if (cell.scanner)
    uses.push_back({.device = port_name(cell.scanner->port), .user = "the scanner", .places = ""});
  for (const OutputDescription& output : cell.outputs) add_output(output, uses);
  return uses;
}

bool meet(const Use& a, const Use& b) {
  if (a.device != b.device) return false;
  if (a.places.empty() || b.places.empty()) return true;
  return a.places == b.places && a.first < b.first + b.count && b.first < a.first + a.count;
}

}  // namespace

std::optional<std::string> shared_wiring(const CellDescription& cell) {
  const std::vector<Use> uses = uses_of(cell);
  for (std::size_t i = 0; i < uses.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (!meet(uses[i], uses[j])) continue;
      const std::string what = uses[i].places.empty() ? "" : uses[i].places + " of ";
      return uses[j].user + " and " + uses[i].user + " both use " + what + uses[i].device;
    }
  }
  return std::nullopt;
}

}  // namespace crestgate::cell
