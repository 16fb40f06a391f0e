// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a record may say. The same rules before writing and after reading.

#include "base/record.h"
#include "base/result.h"

namespace crestgate::protocol {

// Errors  kNotFinite, kOutOfRange, kMalformed; `detail` names the field.
// Note    the ranges are far beyond any bench; they catch a wrong unit or a broken number, not a bad surface.
base::Outcome check(const base::Record& record);

}  // namespace crestgate::protocol
