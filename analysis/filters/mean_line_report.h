// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a filter says about the mean line it made.

namespace crestgate::analysis {

struct MeanLineReport {
  int passes = 0;         // of a robust filter; 0 for the others
  bool converged = true;  // false: a robust filter stopped at its greatest number of passes
  bool starved = false;   // windows without weight: the mean line there is the one of an earlier pass
};

}  // namespace crestgate::analysis
