// SPDX-License-Identifier: Apache-2.0
#pragma once
// Whether two parts of a cell would use the same thing of the outside world.

#include <optional>
#include <string>

namespace crestgate::cell {

struct CellDescription;

// Purpose  the first thing that two parts of the cell lay hold of, in words that name both: a serial port, a
//          digital line, coils or registers of one device, the terminal, the cell's own PLC port, a gauge's
//          serial number. A reject must not switch what shows an accept.
std::optional<std::string> shared_wiring(const CellDescription& cell);

}  // namespace crestgate::cell
