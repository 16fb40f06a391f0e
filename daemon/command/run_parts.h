// SPDX-License-Identifier: Apache-2.0
#pragma once
// The hardware side of a cell, made from its description.

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

#include "base/cell_signal.h"
#include "base/clock.h"
#include "base/result.h"
#include "daemon/cell/config/cell_description.h"

namespace boost::asio {
class io_context;
}

namespace crestgate::driver {
class Gauge;
class Scanner;
class SignalOutput;
}  // namespace crestgate::driver

namespace crestgate::command {

// What can be said about the hardware side before any of it is touched.
// Errors  kInvalidConfig: a kind of gauge, a port or an address that nobody understands.
base::Outcome check_parts(const cell::CellDescription& cell);

// Lifetime  the io_context and the clock outlive it.
class RunParts {
 public:
  // Errors  kBusy, kIo: the PLC port cannot be listened on; kInvalidConfig: gauge kind or port that nobody
  //         knows.
  static base::Result<std::unique_ptr<RunParts>> make(boost::asio::io_context& io, const base::Clock& clock,
                                                      const cell::CellDescription& cell);
  virtual ~RunParts() = default;

  [[nodiscard]] virtual std::vector<driver::Gauge*> gauges() = 0;
  [[nodiscard]] virtual std::vector<driver::SignalOutput*> outputs() = 0;
  virtual void on_plc(std::function<void(const base::PlcInputs&)> listener) = 0;
  [[nodiscard]] virtual std::uint16_t plc_port() const = 0;
  [[nodiscard]] virtual driver::Scanner* scanner() = 0;  // null: the cell has none
  virtual void outputs_off() = 0;                        // may be called again
  virtual void stop() = 0;
};

}  // namespace crestgate::command
