// SPDX-License-Identifier: Apache-2.0
#pragma once
// Carries events to the cycle and its actions to the gauge, the ledger, analysis and the outputs.

#include <functional>
#include <map>
#include <memory>
#include <vector>

#include "base/cell_signal.h"
#include "base/clock.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/cycle/cycle_event.h"
#include "daemon/cell/runner/open_ledger.h"

namespace boost::asio {
class io_context;
}

namespace crestgate::protocol {
class FileSystem;
}

namespace crestgate::driver {
class Gauge;
class SignalOutput;
}  // namespace crestgate::driver

namespace crestgate::cell {

// What the runner works with. Lifetime: everything outlives the runner.
struct RunnerParts {
  boost::asio::io_context& io;
  const base::Clock& clock;
  const CellDescription& cell;
  protocol::FileSystem& files;
  std::vector<driver::Gauge*> gauges;  // as CellDescription::gauges
  std::vector<driver::SignalOutput*> outputs;
};

// Where the time of one part went, from the arrival of its last sample until the outputs were set.
struct PartTiming {
  double total_ms = 0.0;
  double ledger_ms = 0.0;  // waiting until traverse and judgement were durable
};

// Threads  all calls on the thread of `io`.
class CellRunner {
 public:
  CellRunner(RunnerParts parts, OpenLedger ledger, const std::string& software_version);
  ~CellRunner();
  CellRunner(const CellRunner&) = delete;
  CellRunner& operator=(const CellRunner&) = delete;

  // Begins to tick, to listen to the gauge and to refresh the outputs.
  void start();

  // A new snapshot of the PLC's block.
  void plc_changed(const base::PlcInputs& inputs);

  // What people ask for (cycle_event.h); whether it would be refused is asked of cycle() before.
  void tell(CycleEvent event);

  // Records what the ledger does not hold yet of `cell` and its plans, and has them taken up between two parts.
  // The answer comes when they are recorded; only what Cycle reads may differ from the running cell.
  void offer_plans(std::shared_ptr<const CellDescription> cell, std::function<void(base::Outcome)> answer);

  // Something that an engineer will ask about, into the ledger; answered when it is durable.
  void record_event(std::string what, std::string detail, std::function<void(base::Outcome)> answer);

  [[nodiscard]] base::CellSignal signal() const;
  [[nodiscard]] const std::map<std::string, std::string>& output_troubles() const;  // name -> why
  [[nodiscard]] const Cycle& cycle() const;

  // Takes green away at once, finishes what is under way within five seconds, then calls `stopped`.
  void stop(std::function<void()> stopped);

  // Called when a part's result has reached the outputs.
  void on_result(std::function<void(const base::CellSignal&, const PartTiming&)> listener);

 private:
  class Engine;
  std::unique_ptr<Engine> engine_;
};

}  // namespace crestgate::cell
