// SPDX-License-Identifier: Apache-2.0
#pragma once
// The page for whoever writes the PLC's side of a cell: its wiring, the handshake drawn, every register, and what the
// cell does when a step goes wrong.

#include <string>

#include "daemon/cell/config/cell_description.h"
#include "daemon/report/cabinet/page_frame.h"

namespace crestgate::report {

// Purpose  the whole page as one HTML document, sheets of A4 or US Letter, lengthwise.
std::string plc_page(const cell::CellDescription& cell, const PageStamp& stamp);

}  // namespace crestgate::report
