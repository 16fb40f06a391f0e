// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/output_description.h"

#include <algorithm>
#include <array>
#include <span>
#include <utility>

#include "daemon/cell/config/port_path.h"
#include "daemon/cell/config/table_reader.h"
#include "driver/signal/guard/guarded_lights.h"
#include "driver/signal/lights/lights_output.h"

namespace crestgate::cell {
namespace {

using driver::GreenCarried;
using driver::LineBias;
using driver::SelfFall;
using driver::Shows;

constexpr std::array<std::pair<std::string_view, OutputKind>, 5> kKinds = {
    {{"terminal", OutputKind::kTerminal},
     {"gpio", OutputKind::kGpio},
     {"relay", OutputKind::kRelay},
     {"coils", OutputKind::kCoils},
     {"registers", OutputKind::kRegisters}}};
constexpr std::array<std::pair<std::string_view, FallsBy>, 4> kFalls = {
    {{"nothing", FallsBy::kNothing},
     {"guard", FallsBy::kGuard},
     {"pulses", FallsBy::kPulses},
     {"own watchdog", FallsBy::kOwnWatchdog}}};
constexpr std::array kShown = {Shows::kAccept,      Shows::kReject,     Shows::kAct,
                               Shows::kNotMeasured, Shows::kMeasuring,  Shows::kRework,
                               Shows::kScrap,       Shows::kQuarantine, Shows::kMeasureAgain};

// By the names that the driver has for them.
std::vector<std::pair<std::string_view, Shows>> shown_names() {
  std::vector<std::pair<std::string_view, Shows>> names;
  names.reserve(kShown.size());
  for (const Shows shows : kShown) names.emplace_back(driver::name_of(shows), shows);
  return names;
}

constexpr std::array<std::pair<std::string_view, LineBias>, 4> kBiases = {
    {{"as is", LineBias::kAsIs},
     {"off", LineBias::kDisable},
     {"pull-up", LineBias::kPullUp},
     {"pull-down", LineBias::kPullDown}}};

constexpr std::size_t kLongestLabel = 32;

template <class Value, std::size_t N>
std::string_view name_in(const std::array<std::pair<std::string_view, Value>, N>& names, Value value) {
  for (const auto& [name, known] : names) {
    if (known == value) return name;
  }
  return "unknown";
}

void read_lights(TableReader& table, OutputDescription& output) {
  for (TableReader& entry : table.tables("light")) {
    driver::Light light;
    light.label = entry.text("label");
    const bool printable = std::ranges::none_of(light.label, [](char c) { return c >= 0 && c < ' '; });
    if (!printable || light.label.size() > kLongestLabel) {
      entry.complain("label", "expected one line of at most 32 characters: it is the word beside the light");
    }
    light.shows = entry.choice<Shows>("shows", shown_names());
    light.flashing = entry.truth_if_given("flashing").value_or(light.shows == Shows::kAct);
    if (output.kind == OutputKind::kGpio) {
      output.gpio.lines.push_back(
          {.line = entry.text("line"), .active_low = entry.truth_if_given("active_low").value_or(false)});
    }
    entry.finish();
    output.lights.push_back(std::move(light));
  }
}

void read_network(TableReader& table, OutputDescription& output) {
  output.address = table.text("address");
  output.tcp_port = static_cast<std::uint16_t>(table.integer("port", 1, 65535));
  output.unit = static_cast<std::uint8_t>(table.integer_if_given("unit", 0, 255).value_or(output.unit));
}

void read_dialect(TableReader& table, const std::filesystem::path& folder, OutputDescription& output) {
  output.port = port_in(folder, table.text("port"));
  const std::filesystem::path file = folder / table.text("dialect");
  auto text = read_text_file(file.string());
  auto dialect =
      text ? read_relay_dialect(*text, file.string()) : base::Result<driver::RelayDialect>(text.error());
  if (!dialect) {
    table.complain("dialect", dialect.error().detail);
    return;
  }
  output.dialect = std::move(*dialect);
  output.dialect_document = base::Document{.kind = base::DocumentKind::kDialect,
                                           .name = output.dialect.name,
                                           .source = file.filename().string(),
                                           .content = std::move(*text),
                                           .recorded_utc = {}};
  if (!output.lights.empty() && output.lights.size() != output.dialect.lights.size()) {
    table.complain("light", "the dialect describes " + std::to_string(output.dialect.lights.size()) +
                                " lights, here are " + std::to_string(output.lights.size()));
  }
}

// How the device falls by itself, as far as its description tells.
SelfFall fall_of(const OutputDescription& output) {
  if (output.falls_by == FallsBy::kGuard) return {true, "the guard drops it"};
  if (output.falls_by != FallsBy::kOwnWatchdog) return {false, "falls_by does not say what takes it away"};
  if (output.kind == OutputKind::kRelay) return driver::relay_fall(output.dialect);
  if (output.kind == OutputKind::kCoils && output.falls_after_ms > 0) {
    return {true, "the I/O block's own watchdog drops it"};
  }
  return {false, output.kind == OutputKind::kCoils
                     ? "falls_after_ms does not say how soon the block's watchdog drops it"
                     : "digital lines have no watchdog of their own"};
}

base::Outcome check_device(const OutputDescription& output) {
  const bool guarded = output.falls_by == FallsBy::kGuard;
  if (output.kind == OutputKind::kGpio) {
    return guarded ? driver::check_guarded_lights({.device = output.gpio, .program = ""})
                   : driver::check_gpio_lights(output.gpio);
  }
  if (output.kind == OutputKind::kRelay && guarded) {
    return driver::check_guarded_lights(
        {.device = driver::GuardedRelay{.port = {output.port}, .dialect = output.dialect}, .program = ""});
  }
  if (output.kind == OutputKind::kCoils && guarded) {
    return base::Error{
        base::ErrorCode::kInvalidConfig,
        "the guard holds digital lines and serial relays; an I/O block needs its own watchdog, or pulses"};
  }
  return base::Done{};
}

void read_device(TableReader& table, const std::filesystem::path& folder, OutputDescription& output) {
  output.falls_by = table.choice_if_given<FallsBy>("falls_by", kFalls).value_or(FallsBy::kNothing);
  read_lights(table, output);
  if (output.kind == OutputKind::kGpio) {
    output.gpio.chip = table.text("chip");
    output.gpio.bias = table.choice_if_given<LineBias>("bias", kBiases).value_or(LineBias::kAsIs);
  } else if (output.kind == OutputKind::kRelay) {
    read_dialect(table, folder, output);
  } else {
    read_network(table, output);
    output.first_coil = static_cast<std::uint16_t>(table.integer("first_coil", 0, 65535));
    if (output.first_coil + output.lights.size() > 65536) {
      table.complain("first_coil",
                     "the last of " + std::to_string(output.lights.size()) + " lights is beyond coil 65535");
    }
    output.falls_after_ms =
        static_cast<std::uint32_t>(table.integer_if_given("falls_after_ms", 150, 1000).value_or(0));
  }
  if (table.failed()) return;  // what follows would be consequences
  const auto green = output.falls_by == FallsBy::kPulses ? GreenCarried::kPulses : GreenCarried::kSteady;
  if (const auto lights = driver::check_lights(output.lights, fall_of(output), green); !lights) {
    table.complain("falls_by", lights.error().detail);
  } else if (const auto device = check_device(output); !device) {
    table.complain("falls_by", device.error().detail);
  }
}

}  // namespace

std::string_view name_of(OutputKind kind) { return name_in(kKinds, kind); }
std::string_view name_of(FallsBy falls_by) { return name_in(kFalls, falls_by); }

std::vector<OutputDescription> read_outputs(TableReader& root, const std::filesystem::path& folder) {
  std::vector<OutputDescription> outputs;
  for (TableReader& table : root.tables_if_given("output")) {
    OutputDescription output;
    output.kind = table.choice<OutputKind>("kind", kKinds);
    output.name = table.text_if_given("name").value_or(std::string(name_of(output.kind)));
    if (output.kind == OutputKind::kRegisters) {
      read_network(table, output);
      output.cell_block = static_cast<std::uint16_t>(table.integer("cell_block", 0, 65535 - 75));
    } else if (output.kind != OutputKind::kTerminal) {
      read_device(table, folder, output);
    }
    const auto same = std::ranges::find(outputs, output.name, &OutputDescription::name);
    if (same != outputs.end()) table.complain("name", "an output with this name stands above already");
    table.finish();
    outputs.push_back(std::move(output));
  }
  return outputs;
}

}  // namespace crestgate::cell
