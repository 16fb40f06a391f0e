// SPDX-License-Identifier: Apache-2.0
#pragma once
// Any record as text for people.

#include <string>

#include "base/record.h"

namespace crestgate::protocol {

// Purpose  every field on a line of its own, with its unit; heights are summarised, documents are shown
//          whole.
// Shape    "name: value" lines, nested fields with dots, ends with a newline. Text from outside is quoted and
//          control characters are escaped, so that no record can fake a line. Stable: golden tests compare
//          it.
// Pre      none; a record that serialise would refuse is described too.
[[nodiscard]] std::string describe(const base::Record& record);

}  // namespace crestgate::protocol
