// SPDX-License-Identifier: Apache-2.0
#pragma once
// One number and how far it can be trusted on this trace.

#include <cstdint>

#include "analysis/texture/value_doubt.h"

namespace crestgate::analysis {

struct ParameterValue {
  double value = 0.0;
  bool defined = false;       // false: no such number on this trace (the skewness of a flat line), value is 0
  DoubtSet doubts;            // why the number may not be what it seems
  double hidden_up_to = 0.0;  // a true value up to here would not have been seen (waves under the roughness)
};

}  // namespace crestgate::analysis
