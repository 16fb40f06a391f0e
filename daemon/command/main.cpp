// SPDX-License-Identifier: Apache-2.0
#include <cstdio>
#include <exception>

#include "daemon/command/answer.h"
#include "daemon/command/command_line.h"

int main(int argc, char** argv) {
  try {
    return crestgate::command::run_command_line(argc, argv);
  } catch (const std::exception& failure) {
    return crestgate::command::could_not_run(failure.what());
  }
}
