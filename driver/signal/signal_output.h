// SPDX-License-Identifier: Apache-2.0
#pragma once
// Anything that shows the cell's state to people or machines: lamps and PLC lines.

#include <cstdint>
#include <string>
#include <string_view>

#include "base/cell_signal.h"
#include "base/result.h"

namespace crestgate::driver {

enum class Applied : std::uint8_t {
  kConfirmed,  // read back
  kSent,       // handed over; there is nothing to read back, or it has not come back yet
};

// What happens to this output's green when our process dies without a word.
struct SelfFall {
  bool falls = false;  // false: this output may not carry green alone
  std::string sentence;
};

// Purpose  shows a desired state, not events: applying the same state again changes nothing, and the cell
//          applies it again on every heartbeat.
// Threads  all calls on one thread; none of them blocks.
class SignalOutput {
 public:
  virtual ~SignalOutput() = default;

  [[nodiscard]] virtual std::string_view name() const = 0;
  [[nodiscard]] virtual SelfFall falls_by_itself() const = 0;

  // Errors  kBusy: the device takes nothing just now; the state is shown at the next apply(). kIo,
  //         kDisconnected. After stop(): kCancelled.
  virtual base::Result<Applied> apply(const base::CellSignal& signal) = 0;

  // Not green, now, whatever was applied before; until the next apply().
  virtual void safe() = 0;

  // Off for good, and lets go of the device. May be called again.
  virtual void stop() = 0;
};

// True only when all agree that this is a live accept: one of them alone is not enough to be green.
[[nodiscard]] inline bool shows_accept(const base::CellSignal& signal) {
  return signal.result_valid && signal.verdict == base::Verdict::kAccept && !signal.bypass_active;
}

// `signal` with everything taken out that could let a part pass: no result, not ready, nothing may move.
[[nodiscard]] base::CellSignal made_safe(base::CellSignal signal);

}  // namespace crestgate::driver
