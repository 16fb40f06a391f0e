// SPDX-License-Identifier: Apache-2.0
#include <string>
#include <vector>

#include "simulator/program/commands.h"

int main(int argc, char** argv) {
  const std::vector<std::string> arguments(argv + 1, argv + argc);
  return crestgate::simulator::run_command(arguments);
}
