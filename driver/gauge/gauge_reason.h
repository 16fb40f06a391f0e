// SPDX-License-Identifier: Apache-2.0
#pragma once
// From a gauge's error to the reason that line and ledger show.

#include "base/reason.h"
#include "base/result.h"

namespace crestgate::driver {

// Pure and total: an error code that no gauge should produce is an internal error.
[[nodiscard]] base::Reason reason_of(const base::Error& error);

}  // namespace crestgate::driver
