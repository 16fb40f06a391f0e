// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace crestgate::command {

// Reads the command line, runs the command, returns the exit code. Only this file's body sees the parser.
int run_command_line(int argc, const char* const* argv);

}  // namespace crestgate::command
