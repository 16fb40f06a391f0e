// SPDX-License-Identifier: Apache-2.0
#pragma once
// cell.toml: one bench with its gauge, its lamp, its PLC line, its ledger and the plans it knows.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/record.h"
#include "base/result.h"
#include "daemon/cell/config/label_layout.h"
#include "daemon/cell/config/output_description.h"
#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell {

struct GaugeDescription {
  std::string name;  // what plans call it; empty for the only one
  std::string kind;  // a name of the driver's gauge table
  std::string port;  // a device path, "usb:...", or "tcp:HOST:PORT"
  std::uint32_t baud = 115200;
  bool rts_cts = false;
  std::string serial_number;  // the gauge that belongs here; another one is refused
};

// Who asks whom on the line to the PLC.
enum class ModbusRole : std::uint8_t {
  kServer,  // the PLC polls us
  kClient,  // the PLC is a server itself: we write our block into it and read its block from it
};

struct PlcDescription {
  ModbusRole role = ModbusRole::kServer;
  std::string address;  // server: to listen on; client: the PLC's
  std::uint16_t port = 502;
  std::uint8_t unit = 1;
  std::vector<std::string> allowed_writers;  // server: addresses in numbers; empty: anybody
  std::uint16_t cell_block = 0;              // client: holding registers of the PLC where the blocks begin
  std::uint16_t plc_block = 0;
  bool heartbeat_required = true;
  std::uint32_t heartbeat_timeout_ms = 2000;
};

struct TimingDescription {
  std::uint32_t zone_timeout_ms = 30000;         // wanted zone -> zone in position
  std::uint32_t acknowledge_timeout_ms = 10000;  // result -> acknowledge
  std::uint32_t green_limit_ms = 120000;         // a verdict shown longer than this is withdrawn
  std::uint32_t resume_limit_ms = 600000;  // an aborted measurement is resumed within this, or begun anew
};

// Production without the gauge: who asked and until when is recorded, and nothing is green.
struct BypassDescription {
  bool allowed = false;
  std::uint32_t longest_minutes = 480;
  base::Fate fate = base::Fate::kQuarantine;
};

// Reads the labels of parts.
struct ScannerDescription {
  std::string port;  // as a gauge's, or "keys:/dev/input/..."
  std::uint32_t baud = 9600;
  LabelLayout label;
};

struct RecipePlan {
  std::uint16_t recipe = 0;
  PlanDescription plan;
  std::vector<std::uint32_t> gauge_of_zone{};  // indices into CellDescription::gauges; empty: all the first

  [[nodiscard]] std::uint32_t gauge_for(std::uint32_t zone_index) const {
    return gauge_of_zone.empty() ? 0 : gauge_of_zone[zone_index];
  }
};

struct CellDescription {
  std::string name;
  std::filesystem::path ledger;
  std::filesystem::path control;            // local socket for people on the same machine
  std::vector<GaugeDescription> gauges{1};  // at least one
  PlcDescription plc;
  TimingDescription timing;
  BypassDescription bypass;
  std::vector<OutputDescription> outputs;
  std::optional<ScannerDescription> scanner;
  std::vector<RecipePlan> plans;
  base::Document document;
};

// Where people reach a running cell, as its description says; nothing else of it is read.
struct ControlPlace {
  std::string cell;
  std::filesystem::path socket;  // beside the ledger, unless `control` says otherwise
};

// Errors  as read_cell, of the lines that are read.
base::Result<ControlPlace> read_control_place(const std::string& path);

// Purpose  reads a cell and every plan that it names; relative paths count from the cell's folder.
// Errors   as read_plan; also duplicate recipes, kNotFound and kIo for files.
base::Result<CellDescription> read_cell(const std::string& path);

}  // namespace crestgate::cell
