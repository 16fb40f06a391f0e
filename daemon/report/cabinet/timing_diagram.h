// SPDX-License-Identifier: Apache-2.0
#pragma once
// A handshake timeline as a drawing, and its steps as a table.

#include <string>
#include <string_view>

#include "daemon/cell/config/cell_description.h"
#include "daemon/report/cabinet/handshake_timeline.h"

namespace crestgate::report {

// How long a step may take in this cell, in words: "30 s". `shortly` for the drawing, "" where it only says
// that the other side answers at once.
std::string limit_text(StepLimit limit, const cell::CellDescription& cell);
std::string limit_shortly(StepLimit limit, const cell::CellDescription& cell);

// Shape    an SVG element of 1000 units' width with title and description. `id` makes its inner names unique.
std::string timing_diagram(const HandshakeTimeline& timeline, const cell::CellDescription& cell,
                           std::string_view id);

// Shape    an HTML table: number, from, to, at most, what happens.
std::string step_table(const HandshakeTimeline& timeline, const cell::CellDescription& cell);

}  // namespace crestgate::report
