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

struct PlainText {
  std::string text;  // only ASCII, the same lines; empty after a complaint
  std::optional<TextComplaint> complaint;
};

// Purpose   the description in ASCII: comments are left out, letters outside of ASCII inside a text in double
//           quotes become TOML's own escapes (\U and eight hex digits). Elsewhere they are refused, like
//           control characters, texts that do not end on their line, and bytes that are no UTF-8. Nothing
//           that a description needs is lost: bare keys, numbers and words of TOML are ASCII. A key has at
//           most 8 parts.
// Why       a key of ten thousand parts would go through the stack of the parser, which counts the depth of
//           values only. The parser (toml++ 3.3) takes an undefined path when it looks for white space and meets a letter
//           between U+00A1 and U+0499: its table of white space has a hole (found by tests/fuzz).
// Source    TOML 1.0.0, "Comment", "Keys", "String".
PlainText plain_text(std::string_view text);

}  // namespace crestgate::cell
