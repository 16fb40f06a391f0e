// SPDX-License-Identifier: Apache-2.0
#pragma once
// How often a text stands in another.

#include <cstddef>
#include <string_view>

namespace crestgate::report {

inline std::size_t counted(std::string_view text, std::string_view wanted) {
  std::size_t count = 0;
  for (std::size_t at = text.find(wanted); at != std::string_view::npos; at = text.find(wanted, at + 1))
    ++count;
  return count;
}

// The row of a table with this id, from its <tr> to its </tr>; empty when there is none.
inline std::string_view row_with_id(std::string_view page, std::string_view id) {
  std::size_t at = page.find("<tr id=\"");
  while (at != std::string_view::npos) {
    const std::string_view rest = page.substr(at + 8);
    const std::string_view row = page.substr(at, page.find("</tr>", at) - at);
    if (rest.starts_with(id) && rest.substr(id.size()).starts_with("\"")) return row;
    at = page.find("<tr id=\"", at + 1);
  }
  return {};
}

}  // namespace crestgate::report
