// SPDX-License-Identifier: Apache-2.0
#pragma once
// One number and how far it can be trusted on this trace.

#include <cstdint>

#include "analysis/texture/value_doubt.h"

namespace crestgate::analysis {

struct ParameterValue {
  double value = 0.0;
  bool defined = false;  // false: no such number on this trace (the skewness of a flat line), value is 0
  DoubtSet doubts;       // why the number may not be what it seems
  // Where the true value may lie: waves may hide under the roughness or be the drive's, a skew may fake a
  // crown. Both are `value` for a number without such a doubt.
  double least = 0.0;
  double most = 0.0;
};

}  // namespace crestgate::analysis
