// SPDX-License-Identifier: Apache-2.0
#include <exception>

#include <fcntl.h>
#include <unistd.h>

#include "daemon/command/answer.h"
#include "daemon/command/command_line.h"

namespace {

// A standard stream that is closed would give its number to the next file opened, and what is printed would
// then land in that file, be it the ledger. Opening takes the lowest free number, which is the one that is
// missing.
bool occupy_standard_streams() {
  for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
    if (::fcntl(stream, F_GETFD) < 0 && ::open("/dev/null", O_RDWR) < 0) return false;
  }
  return true;
}

}  // namespace

int main(int argc, char** argv) {
  if (!occupy_standard_streams()) return crestgate::command::kCouldNotRun;
  try {
    return crestgate::command::run_command_line(argc, argv);
  } catch (const std::exception& failure) {
    return crestgate::command::could_not_run(failure.what());
  }
}
