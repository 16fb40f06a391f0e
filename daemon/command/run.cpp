// SPDX-License-Identifier: Apache-2.0
// Puts a cell together, runs it, and takes it apart in the reverse order.

#include <chrono>
#include <csignal>
#include <cstdio>
#include <exception>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <nlohmann/json.hpp>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include "daemon/cell/control/control_desk.h"
#include "daemon/cell/control/control_socket.h"
#include "daemon/cell/runner/cell_runner.h"
#include "daemon/cell/runner/scan_desk.h"
#include "daemon/command/commands.h"
#include "daemon/command/log_sink.h"
#include "daemon/command/run_parts.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_writer.h"

namespace crestgate::command {
namespace {

class SystemClock : public base::Clock {
 public:
  [[nodiscard]] base::UtcInstant utc() const override {
    return {.unix_ns = nanoseconds(std::chrono::system_clock::now().time_since_epoch())};
  }
  [[nodiscard]] base::MonotonicInstant monotonic() const override {
    return {.ns = nanoseconds(std::chrono::steady_clock::now().time_since_epoch())};
  }

 private:
  template <class Duration>
  static std::int64_t nanoseconds(Duration duration) {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(duration).count();
  }
};

constexpr unsigned kLastWaitSeconds = 10;
// Some outputs go off by a message: it may have to wait for the answer to the one before.
constexpr std::chrono::milliseconds kLastWords{300};

void set_up_log(const std::string& level) {
  auto log = std::make_shared<spdlog::logger>("crestgate", make_log_sink(STDERR_FILENO));
  log->set_pattern("%Y-%m-%dT%H:%M:%S.%e %l %v");
  log->set_level(spdlog::level::from_str(level));
  spdlog::set_default_logger(std::move(log));
}

void print_timing(const base::CellSignal& signal, const cell::PartTiming& timing) {
  const nlohmann::ordered_json line{{"sequence", signal.sequence},
                                    {"part", signal.part_id},
                                    {"last_sample_to_outputs_ms", timing.total_ms},
                                    {"of_it_waiting_for_the_disk_ms", timing.ledger_ms}};
  std::printf("%s\n", line.dump().c_str());
  std::fflush(stdout);
}

// The outputs go to their resting state whatever way the function is left.
class SafeOutputs {
 public:
  explicit SafeOutputs(RunParts& parts) : parts_(parts) {}
  ~SafeOutputs() { parts_.outputs_off(); }
  SafeOutputs(const SafeOutputs&) = delete;
  SafeOutputs& operator=(const SafeOutputs&) = delete;

 private:
  RunParts& parts_;
};

int run_cell(const RunOptions& options, const cell::CellDescription& cell) {
  const SystemClock clock;
  boost::asio::io_context io(1);
  const auto files = protocol::posix_file_system();
  const cell::Now now{.utc = clock.utc(), .monotonic = clock.monotonic()};

  // The door first: it tells whether this cell runs already, before any device is touched.
  std::optional<cell::ControlDesk> desk;
  auto control = cell::ControlSocket::open(
      io, cell.control, [&desk](const std::string& line, const std::function<void(std::string)>& reply) {
        desk->answer(line, reply);  // nobody is served before io.run
      });
  if (!control) return could_not_run(control.error());

  // The parts before the ledger: a start that fails for a wrong port leaves nothing in the ledger. Nobody is served
  // before io.run.
  auto parts = RunParts::make(io, clock, cell);
  if (!parts) return could_not_run(parts.error());
  auto ledger = cell::open_ledger(*files, cell, std::string(software_version()), now);
  if (!ledger) {
    (*parts)->stop();
    return could_not_run(ledger.error());
  }
  for (const std::string& repair : ledger->repairs) spdlog::warn("ledger: {}", repair);

  cell::CellRunner runner({.io = io,
                           .clock = clock,
                           .cell = cell,
                           .files = *files,
                           .gauges = (*parts)->gauges(),
                           .outputs = (*parts)->outputs()},
                          std::move(*ledger), std::string(software_version()));
  const SafeOutputs safe(**parts);  // after the runner: safe before the runner waits for its threads
  if (options.timings) runner.on_result(print_timing);
  (*parts)->on_plc([&runner](const base::PlcInputs& inputs) { runner.plc_changed(inputs); });

  desk.emplace(runner, options.cell, std::string(software_version()));
  std::optional<cell::ScanDesk> scans;
  if (cell.scanner) scans.emplace(*(*parts)->scanner(), cell.scanner->label, runner, clock);

  boost::asio::steady_timer last_words(io);
  bool asked = false;
  boost::asio::signal_set signals(io, SIGTERM, SIGINT);
  std::function<void(const boost::system::error_code&, int)> on_signal =
      [&](const boost::system::error_code& failure, int number) {
        if (failure) return;
        if (asked) {  // twice: now, even if a disk hangs; what was acknowledged is durable
          (*parts)->outputs_off();
          ::_exit(kCouldNotRun);
        }
        asked = true;
        spdlog::info("stopping ({})", number == SIGTERM ? "SIGTERM" : "SIGINT");
        runner.stop([&] {
          (*control)->stop();
          (*parts)->stop();
          last_words.expires_after(kLastWords);
          last_words.async_wait([&io](const boost::system::error_code& /*cancelled*/) { io.stop(); });
        });
        signals.async_wait(on_signal);
      };
  signals.async_wait(on_signal);

  runner.start();
  spdlog::info("cell '{}' runs; PLC on {} port {}; ledger {}", cell.name, cell.plc.address,
               (*parts)->plc_port(), cell.ledger.string());
  io.run();
  (*parts)->outputs_off();
  // A disk that hangs would keep the ledger's thread, and us, for ever; what is not acknowledged does not
  // count.
  ::alarm(kLastWaitSeconds);
  spdlog::info("stopped");
  return kFine;
}

}  // namespace

int run(const RunOptions& options) {
  set_up_log(options.log_level);
  std::signal(SIGPIPE,
              SIG_IGN);  // a peer that closes while we write is an error value, not the end of the program
  const auto cell = cell::read_cell(options.cell);
  if (!cell) return could_not_run(cell.error());
  return run_cell(options, *cell);
}

}  // namespace crestgate::command
