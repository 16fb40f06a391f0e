// SPDX-License-Identifier: Apache-2.0
#pragma once
// Looks after one gauge: greets it, watches it, carries the cycle's wishes to it and its answers back.

#include <cstdint>
#include <functional>
#include <string>

#include "base/clock.h"
#include "daemon/cell/cycle/cycle_event.h"
#include "driver/asio_forward.h"

namespace boost::asio {
class io_context;
}

namespace crestgate::driver {
class Gauge;
}

namespace crestgate::cell {

// What the tender tells, all on the I/O thread.
struct TenderListener {
  std::function<void(CycleEvent)> take;
  std::function<void(const std::string& kind, const std::string& detail)> warn;
  std::function<void(base::MonotonicInstant)> last_sample;  // of a traverse that came whole
};

// Lifetime  the io_context, the clock and the gauge outlive it; coroutines of it run until the io_context ends.
class GaugeTender {
 public:
  // `name` is for the log; `index` marks the events (CellDescription::gauges).
  GaugeTender(boost::asio::io_context& io, const base::Clock& clock, driver::Gauge& gauge, std::string name,
              std::uint32_t index, TenderListener listener);
  ~GaugeTender();
  GaugeTender(const GaugeTender&) = delete;
  GaugeTender& operator=(const GaugeTender&) = delete;

  void start();
  void watch();  // called on every tick
  void perform(const StartTraverse& action);
  void perform(const RetractStylus& action);

 private:
  class Engine;
  std::unique_ptr<Engine> engine_;
};

}  // namespace crestgate::cell
