// SPDX-License-Identifier: Apache-2.0
#pragma once
// [[output]] of cell.toml: the part-verdict lamp, the gate, and whatever else shows the cell's state.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/record.h"
#include "driver/signal/gpio/gpio_lights.h"
#include "driver/signal/lights/light.h"
#include "driver/signal/relay/relay_dialect.h"

namespace crestgate::cell {

class TableReader;

enum class OutputKind : std::uint8_t {
  kTerminal,   // a lamp drawn on standard output
  kGpio,       // digital lines of this machine
  kRelay,      // a relay box or tower on a serial port, described by a text file
  kCoils,      // coils of a Modbus I/O block
  kRegisters,  // the cell's register block, written into another PLC
};

// What takes an accept away when this program dies. Stated, because nobody else can know it.
enum class FallsBy : std::uint8_t {
  kNothing,      // for an output without an accept
  kGuard,        // the guard process
  kPulses,       // a watchdog relay that the pulses hold
  kOwnWatchdog,  // the device's own
};

struct OutputDescription {
  OutputKind kind = OutputKind::kTerminal;
  std::string name;  // in messages
  FallsBy falls_by = FallsBy::kNothing;
  std::vector<driver::Light> lights;  // in the order of the lamp, top to bottom

  driver::GpioLightsOptions gpio;  // one line per light

  std::string port;  // of the relay
  driver::RelayDialect dialect;
  std::optional<base::Document> dialect_document;

  std::string address;  // of the I/O block or the PLC, in numbers
  std::uint16_t tcp_port = 502;
  std::uint8_t unit = 1;
  std::uint16_t first_coil = 0;
  std::uint32_t falls_after_ms = 0;  // the I/O block's own watchdog
  std::uint16_t cell_block = 0;      // holding register of the PLC where the block begins
};

std::string_view name_of(OutputKind kind);
std::string_view name_of(FallsBy falls_by);

// Purpose  reads every [[output]]; `folder` is where relative paths count from.
// Errors   go to the reader's complaints: unknown kinds and keys, lights that do not fit the kind, an accept that
//          would stay lit when the program dies; those of the dialect's own file name that file.
std::vector<OutputDescription> read_outputs(TableReader& root, const std::filesystem::path& folder);

// Purpose  reads the text file that describes a relay box or tower.
// Errors   kInvalidConfig, one line with file and line; those of check_relay.
base::Result<driver::RelayDialect> read_relay_dialect(std::string_view text, const std::string& source);

}  // namespace crestgate::cell
