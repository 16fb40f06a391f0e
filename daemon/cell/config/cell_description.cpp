// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/cell_description.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "daemon/cell/config/port_path.h"
#include "daemon/cell/config/table_reader.h"
#include "daemon/cell/config/wiring.h"
#include "registers/register_map.h"

namespace crestgate::cell {
namespace {

constexpr std::array<std::pair<std::string_view, bool>, 2> kHeartbeats = {
    {{"required", true}, {"ignored", false}}};
constexpr std::array<std::pair<std::string_view, ModbusRole>, 2> kRoles = {
    {{"server", ModbusRole::kServer}, {"client", ModbusRole::kClient}}};

constexpr std::array<std::pair<std::string_view, base::Fate>, 2> kBypassFates = {
    {{"quarantine", base::Fate::kQuarantine}, {"pass unmeasured", base::Fate::kPassUnmeasured}}};

GaugeDescription read_gauge(TableReader& table, const std::filesystem::path& folder) {
  GaugeDescription gauge;
  gauge.name = table.text_if_given("name").value_or("");
  gauge.kind = table.text("kind");
  gauge.port = table.text("port");
  gauge.serial_number = table.text("serial_number");
  gauge.baud =
      static_cast<std::uint32_t>(table.integer_if_given("baud", 300, 4'000'000).value_or(gauge.baud));
  gauge.rts_cts = table.truth_if_given("rts_cts").value_or(false);
  table.finish();
  gauge.port = port_in(folder, gauge.port);
  return gauge;
}

// Several gauges need names, so that a zone can say which one traverses it.
std::vector<GaugeDescription> read_gauges(TableReader& root, const std::filesystem::path& folder) {
  std::vector<GaugeDescription> gauges;
  std::vector<TableReader> tables = root.tables("gauge");
  for (TableReader& table : tables) {
    GaugeDescription gauge = read_gauge(table, folder);
    if (tables.size() > 1 && gauge.name.empty()) {
      table.complain("name", "each of several gauges needs a name");
    }
    for (const GaugeDescription& earlier : gauges) {
      if (earlier.name == gauge.name) table.complain("name", "a gauge with this name stands above already");
      if (earlier.port == gauge.port) table.complain("port", "a gauge on this port stands above already");
    }
    gauges.push_back(std::move(gauge));
  }
  if (gauges.empty()) gauges.emplace_back();
  return gauges;
}

// Which gauge traverses which zone of a plan.
void assign_gauges(TableReader& table, const std::vector<GaugeDescription>& gauges, RecipePlan& entry) {
  for (const ZoneTraverse& traverse : entry.plan.traverses) {
    std::uint32_t index = 0;
    if (!traverse.gauge.empty()) {
      while (index < gauges.size() && gauges[index].name != traverse.gauge) ++index;
    }
    if (index == gauges.size()) {
      table.complain("file", "plan '" + entry.plan.name + "' wants a gauge '" + traverse.gauge +
                                 "' that this cell does not have");
      index = 0;
    }
    entry.gauge_of_zone.push_back(index);
  }
}

std::optional<ScannerDescription> read_scanner(TableReader& root, const std::filesystem::path& folder) {
  auto table = root.table_if_given("scanner");
  if (!table) return std::nullopt;
  const std::string port = table->text("port");
  const auto baud = table->integer_if_given("baud", 300, 4'000'000).value_or(9600);
  const std::string written = table->text("label");
  auto label = LabelLayout::parse(written);
  if (!label && !table->failed()) table->complain("label", label.error().detail);
  table->finish();
  if (!label) return std::nullopt;
  return ScannerDescription{
      .port = port_in(folder, port), .baud = static_cast<std::uint32_t>(baud), .label = std::move(*label)};
}

// A gauge that traverses nothing would only block the cell when it is missing.
void complain_of_idle_gauges(TableReader& root, const CellDescription& cell) {
  for (std::uint32_t i = 0; cell.gauges.size() > 1 && i < cell.gauges.size(); ++i) {
    const bool used = std::ranges::any_of(cell.plans, [i](const RecipePlan& entry) {
      return std::ranges::find(entry.gauge_of_zone, i) != entry.gauge_of_zone.end();
    });
    if (!used)
      root.complain("gauge", "no zone of any plan is traversed by gauge '" + cell.gauges[i].name + "'");
  }
}

BypassDescription read_bypass(TableReader& root) {
  BypassDescription bypass;
  auto table = root.table_if_given("bypass");
  if (!table) return bypass;
  bypass.allowed = true;
  bypass.longest_minutes =
      static_cast<std::uint32_t>(table->integer("longest_minutes", 1, std::int64_t{7} * 24 * 60));
  bypass.fate = table->choice<base::Fate>("fate", kBypassFates);
  table->finish();
  return bypass;
}

PlcDescription read_plc(TableReader& root) {
  TableReader table = root.table("plc");
  PlcDescription plc;
  plc.role = table.choice_if_given<ModbusRole>("modbus", kRoles).value_or(plc.role);
  plc.address = table.text("address");
  plc.port = static_cast<std::uint16_t>(table.integer("port", 0, 65535));
  plc.unit = static_cast<std::uint8_t>(table.integer_if_given("unit", 0, 255).value_or(plc.unit));
  if (plc.role == ModbusRole::kServer) {
    plc.allowed_writers = table.texts_if_given("allowed_writers");
  } else {
    constexpr std::int64_t kLast = 65536;
    plc.cell_block =
        static_cast<std::uint16_t>(table.integer("cell_block", 0, kLast - registers::cell::kSize));
    plc.plc_block = static_cast<std::uint16_t>(table.integer("plc_block", 0, kLast - registers::plc::kSize));
  }
  plc.heartbeat_required = table.choice<bool>("heartbeat", kHeartbeats);
  plc.heartbeat_timeout_ms = static_cast<std::uint32_t>(
      table.integer_if_given("heartbeat_timeout_ms", 200, 60'000).value_or(plc.heartbeat_timeout_ms));
  table.finish();
  return plc;
}

TimingDescription read_timing(TableReader& root) {
  TimingDescription timing;
  auto table = root.table_if_given("timing");
  if (!table) return timing;
  const auto milliseconds = [&](std::string_view key, std::uint32_t preset) {
    const auto seconds = table->number_if_given(key, {0.1, 86400.0});
    return seconds ? static_cast<std::uint32_t>(std::lround(*seconds * 1000.0)) : preset;
  };
  timing.zone_timeout_ms = milliseconds("zone_timeout_s", timing.zone_timeout_ms);
  timing.acknowledge_timeout_ms = milliseconds("acknowledge_timeout_s", timing.acknowledge_timeout_ms);
  timing.green_limit_ms = milliseconds("green_limit_s", timing.green_limit_ms);
  timing.resume_limit_ms = milliseconds("resume_limit_s", timing.resume_limit_ms);
  table->finish();
  return timing;
}

// Beside the ledger, which belongs to one cell: two cells of one folder do not share a door.
std::filesystem::path control_of(TableReader& root, const std::filesystem::path& folder,
                                 const std::string& ledger) {
  std::filesystem::path socket = folder / root.text_if_given("control").value_or(ledger + ".socket");
  constexpr std::size_t kLongest = 107;  // sockaddr_un, with its final NUL
  if (socket.string().size() > kLongest && !root.failed()) {
    root.complain(root.has("control") ? "control" : "ledger",
                  "expected a path of at most 107 characters for the socket, found " + socket.string());
  }
  return socket;
}

base::Outcome read_plans(TableReader& root, const std::filesystem::path& folder, CellDescription& cell) {
  for (TableReader& table : root.tables("plan")) {
    RecipePlan entry;
    entry.recipe = static_cast<std::uint16_t>(table.integer("recipe", 1, 65535));
    const std::filesystem::path file = folder / table.text("file");
    for (const RecipePlan& earlier : cell.plans) {
      if (earlier.recipe == entry.recipe)
        table.complain("recipe", "a plan with this recipe stands above already");
    }
    table.finish();
    auto text = read_text_file(file.string());
    if (!text) {
      table.complain("file", text.error().detail);
      return base::Done{};
    }
    auto plan = read_plan(*text, file.string());
    if (!plan) return plan.error();
    entry.plan = std::move(*plan);
    assign_gauges(table, cell.gauges, entry);
    cell.plans.push_back(std::move(entry));
  }
  return base::Done{};
}

}  // namespace

base::Result<ControlPlace> read_control_place(const std::string& path) {
  auto text = read_text_file(path);
  if (!text) return text.error();
  auto document = parse_document(*text, path);
  if (!document) return document.error();
  Complaints complaints(path);
  TableReader root(*document, "", complaints);
  ControlPlace place;
  place.cell = root.text("name");
  const std::string ledger = root.text("ledger");
  place.socket = control_of(root, std::filesystem::absolute(path).parent_path(), ledger);
  if (complaints.first()) return *complaints.first();
  return place;
}

base::Result<CellDescription> read_cell(const std::string& path) {
  auto text = read_text_file(path);
  if (!text) return text.error();
  auto document = parse_document(*text, path);
  if (!document) return document.error();
  const std::filesystem::path folder = std::filesystem::absolute(path).parent_path();
  Complaints complaints(path);
  TableReader root(*document, "", complaints);
  CellDescription cell;
  root.integer("format", 1, 1);
  cell.name = root.text("name");
  const std::string ledger = root.text("ledger");
  cell.ledger = folder / ledger;
  cell.control = control_of(root, folder, ledger);
  cell.gauges = read_gauges(root, folder);
  cell.plc = read_plc(root);
  cell.timing = read_timing(root);
  cell.bypass = read_bypass(root);
  cell.outputs = read_outputs(root, folder);
  cell.scanner = read_scanner(root, folder);
  if (!complaints.first()) {
    const auto plans = read_plans(root, folder, cell);
    if (complaints.first()) return *complaints.first();
    if (!plans) return plans.error();
  }
  if (!complaints.first()) {
    if (const auto shared = shared_wiring(cell)) root.complain("output", *shared);
  }
  if (!complaints.first()) complain_of_idle_gauges(root, cell);
  if (!complaints.first()) root.finish();
  if (complaints.first()) return *complaints.first();
  cell.document = {.kind = base::DocumentKind::kCell,
                   .name = cell.name,
                   .source = std::filesystem::path(path).filename().string(),
                   .content = std::move(*text),
                   .recorded_utc = {}};
  return cell;
}

}  // namespace crestgate::cell
