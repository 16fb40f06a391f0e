// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which changes of a cell's description a running cell can take up, and which need a restart.

#include <optional>
#include <string>

namespace crestgate::cell {

struct CellDescription;

// Purpose  what differs between the two besides plans, timing and bypass, in words: those are exchanged between
//          two parts; what is wired, opened or listened on is not. Nothing: a reload will do.
std::optional<std::string> needs_a_restart(const CellDescription& running, const CellDescription& read);

}  // namespace crestgate::cell
