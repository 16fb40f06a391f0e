// SPDX-License-Identifier: Apache-2.0
#pragma once
// The zones of a plan.

#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/config/table_reader.h"

namespace crestgate::cell {

// Purpose  reads and checks every [[zone]] into plan.traverses and plan.part_plan.
// Errors   complaints; the zones are incomplete then.
void read_zones(TableReader& root, const Complaints& complaints, PlanDescription& plan);

}  // namespace crestgate::cell
