// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the tests of the daemon's side of the guard have in common.

#include <csignal>
#include <string>

#include <sys/types.h>

#include "support/processes.h"

namespace crestgate::driver {

inline const std::string kGuardName = "crestgate-guard";
inline const std::string kProgram = std::string(CRESTGATE_BINARY_DIR) + "/bin/crestgate-guard";

// 0: none, or not only one.
inline pid_t guard_of(pid_t parent) {
  const auto found = tests::children_of(parent, kGuardName);
  return found.size() == 1 ? found[0].pid : 0;
}

// Never a 0, which would be this whole process group.
[[nodiscard]] inline bool signal_to(pid_t pid, int number) { return pid > 0 && ::kill(pid, number) == 0; }

}  // namespace crestgate::driver
