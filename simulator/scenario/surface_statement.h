// SPDX-License-Identifier: Apache-2.0
#pragma once
// The process steps of the scenario language.

#include "base/result.h"
#include "simulator/scenario/words.h"
#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

// Reads one step from its name to the end of the line: "ridges rq_um 0.45 correlation_um 12".
// Errors  kInvalidConfig.
base::Result<ProcessStep> parse_step(Words& words);

}  // namespace crestgate::simulator
