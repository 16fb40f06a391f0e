// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which bytes can be a label.

#include <optional>
#include <string>
#include <string_view>

namespace crestgate::driver {

// Purpose  nothing for printable text: well-formed UTF-8 without control characters (U+0000 to U+001F, U+007F
//          to U+009F). Else which byte is wrong, and where.
// Source   Unicode Standard 15.0, 3.9, table 3-7 (well-formed byte sequences).
[[nodiscard]] std::optional<std::string> unreadable_because(std::string_view text);

}  // namespace crestgate::driver
