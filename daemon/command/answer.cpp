// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/answer.h"

#include <cstdio>
#include <string>

namespace crestgate::command {

int could_not_run(std::string_view detail) {
  std::string line = "crestgate: " + std::string(detail);
  for (char& character : line) {
    const auto byte = static_cast<unsigned char>(character);
    if (byte < 0x20 || byte == 0x7F) character = ' ';  // one line, and nothing that steers a terminal
  }
  line += '\n';
  std::fputs(line.c_str(), stderr);
  return kCouldNotRun;
}

int could_not_run(const base::Error& error) { return could_not_run(error.detail); }

std::string_view software_version() { return CRESTGATE_VERSION; }

}  // namespace crestgate::command
