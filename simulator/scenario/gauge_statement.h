// SPDX-License-Identifier: Apache-2.0
#pragma once
// The properties of the gauge in the scenario language.

#include "base/result.h"
#include "simulator/scenario/scenario.h"
#include "simulator/scenario/words.h"

namespace crestgate::simulator {

// Reads the rest of a gauge statement: "serial SN-1 tip_um 2 noise_um 0.004".
// Errors  kInvalidConfig.
base::Outcome parse_gauge(Words& words, Scenario& scenario);

}  // namespace crestgate::simulator
