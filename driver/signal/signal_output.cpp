// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

base::CellSignal made_safe(base::CellSignal signal) {
  signal.lamp = base::Lamp::kDark;
  signal.ready = false;
  signal.stylus_clear = false;
  signal.result_valid = false;
  signal.verdict = base::Verdict::kNone;
  signal.fate = base::Fate::kNone;
  signal.deciding_value.reset();
  signal.deciding_limit.reset();
  signal.deciding_symbol.clear();
  signal.deciding_zone = 0;
  signal.last = {};
  signal.line.clear();
  if (signal.reason == base::Reason::kNone || signal.reason == base::Reason::kAllWithinLimits) {
    signal.reason = base::Reason::kResultExpired;
  }
  return signal;
}

}  // namespace crestgate::driver
