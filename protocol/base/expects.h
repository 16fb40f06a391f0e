// SPDX-License-Identifier: Apache-2.0
#pragma once
// Preconditions between our own functions. Active in every build; never used on input from outside.

#include <cstdio>
#include <cstdlib>

namespace crestgate::base {

[[noreturn]] inline void broken_precondition(const char* condition, const char* file, int line) {
  std::fprintf(stderr, "crestgate: broken precondition %s at %s:%d\n", condition, file, line);
  std::abort();
}

}  // namespace crestgate::base

// Ends the process when `condition` is false: the outputs fall, the ledger holds all that was acknowledged.
#define CRESTGATE_EXPECTS(condition)  \
  ((condition) ? static_cast<void>(0) \
               : ::crestgate::base::broken_precondition(#condition, __FILE__, __LINE__))
