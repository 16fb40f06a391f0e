// SPDX-License-Identifier: Apache-2.0
#pragma once
// One tree of a plan and its family. What the words mean, before anybody reads a number.

#include "daemon/cell/config/document.h"
#include "daemon/cell/config/table_reader.h"

namespace crestgate::cell {

// Purpose  what the family says, unless the plan says otherwise.
// Method   Tables are merged key by key, and the plan's value wins; every list but two is a value. [[zone]]
//          entries are one zone if they have the same name, and [[zone.limit]] entries one limit if they are
//          about the same parameter (read_limit_symbol); the plan spells the parameter then. Entries of the
//          family come first, in its order, then those that only the plan has. `absent = true` in an entry of
//          the plan drops that of the family; `absent = ["key", ...]` in any of its tables drops keys that
//          the family gives there.
// Shape    both roots are tables. In the result every node keeps the place where it stands, every table knows
//          where the other file has it, and entries that have a name are labelled with it.
// Errors   complaints: an entry without its name, two zones of one name in a file, a limit that could mean
//          two of the family's, something dropped that the family does not give, `absent` in the family.
Node merge_family(const Node& plan, const Node& family, Complaints& complaints);

}  // namespace crestgate::cell
