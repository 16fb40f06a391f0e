// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a description may consist of before the parser sees it.

#include <optional>
#include <string>
#include <string_view>

namespace crestgate::cell {

struct TextComplaint {
  int line = 0;  // from 1
  std::string what;
};

// Purpose   letters outside of ASCII only in comments and quoted texts, texts that end on their line, no
// control
//           characters. Nothing that a description needs is lost: bare keys, numbers and words of TOML are
//           ASCII.
// Why       the parser (toml++ 3.3) takes an undefined path when it looks for white space and meets a letter
// between
//           U+00A1 and U+0499 there: its table of white space has a hole (found by tests/fuzz).
// Source    TOML 1.0.0, "Comment", "Keys", "String".
std::optional<TextComplaint> complaint_about_text(std::string_view text);

}  // namespace crestgate::cell
