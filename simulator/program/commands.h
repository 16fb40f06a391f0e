// SPDX-License-Identifier: Apache-2.0
#pragma once
// The command line of crestgate-sim.

#include <span>
#include <string>

namespace crestgate::simulator {

// Runs one command; prints results to standard output and one line about a problem to standard error.
// Returns  the exit code: 0 fine, 2 bad input or usage.
int run_command(std::span<const std::string> arguments);

}  // namespace crestgate::simulator
