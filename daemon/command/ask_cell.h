// SPDX-License-Identifier: Apache-2.0
#pragma once
// Asks a running cell over its local socket (daemon/cell/control/control_desk.h).

#include <string>

#include <nlohmann/json_fwd.hpp>

#include "base/result.h"

namespace crestgate::command {

// Purpose  finds the socket by the cell's description, sends one request and returns the answer's object.
// Errors   those of read_cell; kNotFound: the cell does not run; kNoReply: it does not answer within 10 s;
//          kRefused: it answered no, in its own words.
base::Result<nlohmann::ordered_json> ask_cell(const std::string& cell_file,
                                              const nlohmann::ordered_json& request);

}  // namespace crestgate::command
