// SPDX-License-Identifier: Apache-2.0
#pragma once
// The page that a PLC programmer needs, printed from the table itself.

#include <string>

namespace crestgate::driver {

// Purpose  Markdown: both blocks with both columns of addresses, types, word and string order, verdict words,
//          flag bits, reason codes, and how to read them so that a doubt is never an accept.
[[nodiscard]] std::string register_page();

}  // namespace crestgate::driver
