// SPDX-License-Identifier: Apache-2.0
#pragma once
// From a scanned label to the name of a part.

#include "daemon/cell/config/label_layout.h"
#include "daemon/cell/runner/repeat_gate.h"

namespace crestgate::base {
class Clock;
}

namespace crestgate::driver {
class Scanner;
}

namespace crestgate::cell {

class CellRunner;

// Purpose   tells the runner each part that is named; a label that nobody can read is recorded and logged, and
//           names nobody.
// Lifetime  scanner, runner and clock outlive it. Threads  the I/O thread.
class ScanDesk {
 public:
  ScanDesk(driver::Scanner& scanner, LabelLayout label, CellRunner& runner, const base::Clock& clock);
  ~ScanDesk();
  ScanDesk(const ScanDesk&) = delete;
  ScanDesk& operator=(const ScanDesk&) = delete;

 private:
  void take(const std::string& line);
  void unreadable(const std::string& why);

  driver::Scanner& scanner_;
  const LabelLayout label_;
  CellRunner& runner_;
  const base::Clock& clock_;
  RepeatGate gate_;
};

}  // namespace crestgate::cell
