// SPDX-License-Identifier: Apache-2.0
#pragma once
// Text into markup that is HTML and well-formed XML at once.

#include <cstddef>
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

namespace crestgate::report {

// Purpose  plain text as content or attribute value. Control characters, which XML cannot carry, become spaces.
std::string escaped(std::string_view text);

// The same with its first letter large: sentences of the tables begin small.
std::string sentence(std::string_view text);

std::string hex_word(unsigned word);  // "A5C3h"

// "first" or "first-last", padded with zeros to `width`.
struct Range {
  unsigned first = 0;
  unsigned count = 1;
  std::size_t width = 0;
};
std::string range_text(Range range);

struct Column {
  std::string_view heading;
  std::string_view css_class;  // of its cells; may be empty
};

// A table with a caption and one header row. Each row begins with a header cell.
// Shape    cells are markup, one per column; captions and headings are text.
class HtmlTable {
 public:
  HtmlTable(std::string_view caption, std::string_view css_class, std::initializer_list<Column> columns);

  // Begins a group that a printer keeps together: its heading stands in the first column beside the next `rows`
  // rows, which have one cell less.
  void group(std::string_view heading, std::size_t rows);

  // Pre      one cell per column. `id` may be empty.
  void row(std::initializer_list<std::string> cells, std::string_view id = "");

  [[nodiscard]] std::string markup() const;

 private:
  std::vector<Column> columns_;
  std::string head_;
  std::string rows_;
  std::string group_heading_;  // waits for the next row
  bool grouped_ = false;
  bool open_ = false;
};

}  // namespace crestgate::report
