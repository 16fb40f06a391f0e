// SPDX-License-Identifier: Apache-2.0
#pragma once
// The state of a running cell as JSON.

#include <map>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "base/cell_signal.h"

namespace crestgate::cell {

class Cycle;

// `outputs` fail at the moment: name -> why.
nlohmann::ordered_json status_json(const Cycle& cycle, const base::CellSignal& signal,
                                   const std::map<std::string, std::string>& outputs,
                                   const std::string& software_version);

}  // namespace crestgate::cell
