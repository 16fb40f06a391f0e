// SPDX-License-Identifier: Apache-2.0
#pragma once
// A TOML file as a plain tree that remembers its line numbers. Only document.cpp sees the parser.

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "base/result.h"

namespace crestgate::cell {

struct Member;

struct Node {
  using Array = std::vector<Node>;
  using Table = std::vector<Member>;  // in the order of the file
  std::variant<bool, std::int64_t, double, std::string, Array, Table> value;
  int line = 0;
};

struct Member {
  std::string key;
  Node node;
};

// Purpose  what somebody wrote, quoted in a message: control characters become spaces, so that a message
//          stays one line and steers no terminal.
std::string on_one_line(std::string text);

// Purpose  parses `text`; the root is always a Table.
// Errors   kInvalidConfig with "<source> line <n>: <what>". Dates and times are refused: no description has
//          them.
base::Result<Node> parse_document(std::string_view text, std::string_view source);

// Largest file that is read as a description; a bigger one is a mistake, not a description.
constexpr std::size_t kLargestDocumentBytes = 1U << 20U;

// The whole file as text. Errors: kNotFound, kIo, kInvalidConfig (not a regular file, too large), naming the
// path.
base::Result<std::string> read_text_file(const std::string& path,
                                         std::size_t largest_bytes = kLargestDocumentBytes);

}  // namespace crestgate::cell
