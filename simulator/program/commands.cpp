// SPDX-License-Identifier: Apache-2.0
#include "simulator/program/commands.h"

#include <array>
#include <cmath>
#include <iostream>
#include <limits>
#include <random>
#include <string_view>

#include "base/result.h"
#include "simulator/link/server.h"
#include "simulator/program/arguments.h"
#include "simulator/scenario/bench.h"
#include "simulator/scenario/control.h"
#include "simulator/scenario/scenario.h"
#include "simulator/scenario/traces.h"
#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

constexpr int kFine = 0;
constexpr int kCouldNotRun = 2;

constexpr std::string_view kOverview = R"(crestgate-sim: a software gauge and the surfaces under it

  crestgate-sim serve SCENARIO --pty PATH | --tcp PORT   speak the gauge link on a port
  crestgate-sim traces SCENARIO --out DIR                write the traces of all parts as files
  crestgate-sim check SCENARIO                           read a scenario and say what it holds

Each command has --help. Exit 0: fine; 2: bad input or usage. The scenario language: simulator/SCENARIO.md.
)";

constexpr std::string_view kServeHelp =
    R"(crestgate-sim serve SCENARIO --pty PATH | --tcp PORT [--control PORT] [--speed-scale X]

Speaks the gauge link until SIGTERM, SIGINT or the control command 'quit'. Prints one line when ready:
  gauge SN-2041-07 on PATH, control on 127.0.0.1:PORT

  --pty PATH        a pseudo-terminal, linked to PATH; the link is removed at the end
  --tcp PORT        a loopback port; 0 takes any free one
  --control PORT    a loopback port for commands, a line each; 0 takes any free one:
                    place PART [stage N], zone K, remove, fault KIND ..., fault clear, state, quit
  --speed-scale X   the stylus moves X times faster than it says (0.01 to 10000; default: the scenario's)
)";

constexpr std::string_view kTracesHelp =
    R"(crestgate-sim traces SCENARIO --out DIR [--format csv] [--length-mm L] [--spacing-um S] [--traverses N]

Writes PART_stageS_zoneK_traverseN.csv (header x_mm,z_um) for every part, stage, zone and traverse.

  --out DIR         made when missing
  --format csv      the only one
  --length-mm L     of a traverse (default 5.6)
  --spacing-um S    between samples (default 0.5)
  --traverses N     of each zone (default 1)
)";

constexpr std::string_view kCheckHelp = R"(crestgate-sim check SCENARIO

Reads a scenario and prints one line about what it holds, or one line about its first error.
)";

int refuse(const base::Error& error) {
  std::cerr << "crestgate-sim: " << error.detail << "\n";
  return kCouldNotRun;
}

int misuse(const std::string& what) { return refuse({base::ErrorCode::kInvalidConfig, what}); }

base::Result<Scenario> scenario_of(const Arguments& arguments) {
  if (arguments.plain.size() != 1) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "expected one scenario file, found " + std::to_string(arguments.plain.size())};
  }
  return read_scenario(arguments.plain.front());
}

base::Result<ServeOptions> serve_options(const Arguments& arguments) {
  constexpr std::uint64_t kHighestPort = 65535;
  ServeOptions options;
  if (arguments.has("--pty") == arguments.has("--tcp")) {
    return base::Error{base::ErrorCode::kInvalidConfig, "expected either '--pty PATH' or '--tcp PORT'"};
  }
  if (arguments.has("--pty")) options.pty_path = arguments.options.find("--pty")->second;
  for (const auto& [name, target] :
       {std::pair{"--tcp", &options.tcp_port}, {"--control", &options.control_port}}) {
    if (!arguments.has(name)) continue;
    const auto port = whole_option(arguments, name, kHighestPort);
    if (!port) return port.error();
    *target = static_cast<std::uint16_t>(*port);
  }
  return options;
}

int serve_scenario(const Arguments& arguments) {
  auto scenario = scenario_of(arguments);
  if (!scenario) return refuse(scenario.error());
  const auto options = serve_options(arguments);
  if (!options) return refuse(options.error());
  if (arguments.has("--speed-scale")) {
    const auto scale = number_option(arguments, "--speed-scale", 0.01, 10'000.0);
    if (!scale) return refuse(scale.error());
    scenario->gauge.speed_scale = *scale;
  }
  // Every start of the program is a restart of the gauge, and the host has to see that.
  if (!scenario->boot) {
    std::random_device chance;
    scenario->gauge.boot_seed = (std::uint64_t{chance()} << 32U) | chance();
  }
  Bench bench(*scenario);
  Gauge gauge(scenario->gauge, bench, serving_clock());
  Line line(gauge, bench, scenario->line);
  ControlDesk desk(bench, gauge);
  const ServeEvents events{
      .on_ready =
          [&scenario](const std::string& port, std::optional<std::uint16_t> control_port) {
            std::cout << "gauge " << scenario->gauge.serial_number << " on " << port;
            if (control_port) std::cout << ", control on 127.0.0.1:" << *control_port;
            std::cout << std::endl;  // flushed: a script waits for this line
          },
      .answer = [&desk](std::string_view command) { return desk.answer(command); },
      .quit_wanted = [&desk] { return desk.quit_wanted(); }};
  const base::Outcome served = serve(line, *options, events);
  return served ? kFine : refuse(served.error());
}

int write_scenario_traces(const Arguments& arguments) {
  const auto scenario = scenario_of(arguments);
  if (!scenario) return refuse(scenario.error());
  if (!arguments.has("--out")) return misuse("expected '--out DIR'");
  const auto format = arguments.options.find("--format");
  if (format != arguments.options.end() && format->second != "csv") {
    return misuse("option '--format' expects 'csv', found '" + format->second + "'");
  }
  TraceSettings settings;
  if (arguments.has("--length-mm")) {
    const auto length_mm = number_option(arguments, "--length-mm", 0.001, 1000.0);
    if (!length_mm) return refuse(length_mm.error());
    settings.order.length_um = static_cast<std::uint32_t>(std::llround(1000.0 * *length_mm));
  }
  if (arguments.has("--spacing-um")) {
    const auto spacing_um = number_option(arguments, "--spacing-um", 0.001, 1000.0);
    if (!spacing_um) return refuse(spacing_um.error());
    settings.order.spacing_nm = static_cast<std::uint32_t>(std::llround(1000.0 * *spacing_um));
  }
  if (arguments.has("--traverses")) {
    const auto traverses = whole_option(arguments, "--traverses", 1000);
    if (!traverses) return refuse(traverses.error());
    settings.traverses = static_cast<std::uint32_t>(*traverses);
  }
  const std::string& folder = arguments.options.find("--out")->second;
  const auto written = write_traces(*scenario, settings, folder);
  if (!written) return refuse(written.error());
  std::cout << *written << " traces in " << folder << "\n";
  return kFine;
}

int check_scenario(const Arguments& arguments) {
  const auto scenario = scenario_of(arguments);
  if (!scenario) return refuse(scenario.error());
  std::cout << scenario->source << ": gauge " << scenario->gauge.serial_number << ", "
            << scenario->zones.size() << " zones, " << scenario->surfaces.size() << " surfaces, "
            << scenario->parts.size() << " parts, " << scenario->faults.size() << " faults\n";
  return kFine;
}

struct Command {
  std::string_view name;
  std::string_view help;
  std::vector<std::string_view> options;
  int (*run)(const Arguments&);
};

std::vector<Command> all_commands() {
  return {{"serve", kServeHelp, {"--pty", "--tcp", "--control", "--speed-scale"}, serve_scenario},
          {"traces",
           kTracesHelp,
           {"--out", "--format", "--length-mm", "--spacing-um", "--traverses"},
           write_scenario_traces},
          {"check", kCheckHelp, {"--help"}, check_scenario}};
}

}  // namespace

int run_command(std::span<const std::string> arguments) {
  if (!arguments.empty() && (arguments[0] == "--help" || arguments[0] == "-h")) {
    std::cout << kOverview;
    return kFine;
  }
  std::vector<std::string_view> names;
  for (const Command& command : all_commands()) {
    names.push_back(command.name);
    if (arguments.empty() || arguments[0] != command.name) continue;
    const auto read = read_arguments(arguments.subspan(1), command.options);
    if (!read) return refuse(read.error());
    if (read->help) {
      std::cout << command.help;
      return kFine;
    }
    return command.run(*read);
  }
  return misuse("expected the command " + choice_of(names) + ", found " +
                (arguments.empty() ? std::string("nothing") : "'" + arguments[0] + "'"));
}

}  // namespace crestgate::simulator
