// SPDX-License-Identifier: Apache-2.0
#pragma once
// The log on standard error, for a program that must not wait for whoever reads it.

#include <memory>

namespace spdlog::sinks {
class sink;
}

namespace crestgate::command {

// Purpose  writes each line whole, or not at all when the other side takes nothing just now (a pipe that nobody
//          reads, a terminal that was stopped): the lamp must not hang on a log. Lines that were left out are
//          counted, and told as soon as there is room again. A line is cut at 4000 bytes.
// Threads  any.
std::shared_ptr<spdlog::sinks::sink> make_log_sink(int descriptor);

}  // namespace crestgate::command
