// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/answer.h"

#include <cstdio>
#include <string>

#include "daemon/cell/config/document.h"

namespace crestgate::command {

int could_not_run(std::string_view detail) {
  const std::string line = cell::on_one_line("crestgate: " + std::string(detail)) + '\n';
  std::fputs(line.c_str(), stderr);
  return kCouldNotRun;
}

int could_not_run(const base::Error& error) { return could_not_run(error.detail); }

std::string_view software_version() { return CRESTGATE_VERSION; }

}  // namespace crestgate::command
