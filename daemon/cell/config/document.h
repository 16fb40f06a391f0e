// SPDX-License-Identifier: Apache-2.0
#pragma once
// A TOML file as a plain tree that remembers where everything stands. Only document.cpp sees the parser.

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "base/result.h"

namespace crestgate::cell {

struct Member;

struct Place {
  std::shared_ptr<const std::string> source;  // the file, as complaints name it; null: made by the program
  int line = 0;                               // from 1; 0: nowhere in this file
};

struct Node {
  using Array = std::vector<Node>;
  using Table = std::vector<Member>;  // in the order of the file
  std::variant<bool, std::int64_t, double, std::string, Array, Table> value;
  Place place = {};
  // Of a table that two files make together: where the other file has it, or could have it.
  std::optional<Place> elsewhere = std::nullopt;
  std::string label = {};  // of an entry of a list that has a name, for complaints: "zone 'crest A'"
};

struct Member {
  std::string key;
  Node node;
};

// Purpose  the same values under the same keys, wherever they stand and in whatever order; not a number is
//          the same as not a number.
bool same_content(const Node& a, const Node& b);

// The member `key` of a table; null: it has none, or the node is no table.
const Node* member_of(const Node& table, std::string_view key);

// A file that was read.
struct SourceText {
  std::string_view text;
  std::string source;  // its path, or its name in complaints
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
