// SPDX-License-Identifier: Apache-2.0
#pragma once
// The limits of a zone.

#include <span>
#include <string>
#include <vector>

#include "base/judgement.h"
#include "daemon/cell/config/table_reader.h"

namespace crestgate::cell {

// Purpose  the symbol that a [[zone.limit]] is about: "Rmr" with its numbers in keys of their own, or any
//          spelling that resolve_parameter_name knows. Two limits are about the same parameter when their
//          symbols are the same.
// Errors   complaints of the reader; then what was written.
std::string read_limit_symbol(TableReader& table);

// Errors   complaints: no bound, the lower above the upper one, an unknown key.
std::vector<base::Limit> read_limits(std::span<TableReader> tables);

}  // namespace crestgate::cell
