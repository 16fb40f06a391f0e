// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/document.h"

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <ios>
#include <optional>
#include <system_error>

#include <toml++/toml.h>

#include "daemon/cell/config/plain_text.h"

namespace crestgate::cell {
namespace {

base::Error at_line(std::string_view source, int line, const std::string& what) {
  return {base::ErrorCode::kInvalidConfig,
          on_one_line(std::string(source) + " line " + std::to_string(line) + ": " + what)};
}

// More in one table or list is no description, and would make whoever compares its keys slow.
constexpr std::size_t kMostEntries = 1000;

// Deeper is none either, and would go through the stack of whoever walks the tree.
constexpr int kMostDepth = 32;

class Converter {
 public:
  explicit Converter(std::string_view source) : source_(std::make_shared<const std::string>(source)) {}

  Node convert(const toml::node& from, int depth = 0) {
    Node node;
    node.place = {.source = source_, .line = static_cast<int>(from.source().begin.line)};
    if (depth > kMostDepth) {
      refuse(node.place.line,
             "expected tables and lists at most " + std::to_string(kMostDepth) + " deep in each other");
    } else if (const auto* table = from.as_table()) {
      check_size(table->size(), node.place.line);
      node.value = members_of(*table, depth + 1);
    } else if (const auto* array = from.as_array()) {
      check_size(array->size(), node.place.line);
      Node::Array elements;
      for (const auto& element : *array) elements.push_back(convert(element, depth + 1));
      node.value = std::move(elements);
    } else if (const auto* text = from.as_string()) {
      node.value = text->get();
    } else if (const auto* integer = from.as_integer()) {
      node.value = integer->get();
    } else if (const auto* number = from.as_floating_point()) {
      node.value = number->get();
    } else if (const auto* truth = from.as_boolean()) {
      node.value = truth->get();
    } else {
      refuse(node.place.line, "dates and times have no use here");
    }
    return node;
  }

  [[nodiscard]] const std::optional<base::Error>& error() const { return error_; }

 private:
  void refuse(int line, const std::string& what) {
    if (!error_) error_ = at_line(*source_, line, what);
  }

  void check_size(std::size_t entries, int line) {
    if (entries <= kMostEntries) return;
    refuse(line, "expected at most " + std::to_string(kMostEntries) +
                     " entries in a table or a list, found " + std::to_string(entries));
  }

  // The parser sorts by key; people want the order of the file.
  Node::Table members_of(const toml::table& table, int depth) {
    struct Found {
      toml::source_position at;
      Member member;
    };
    std::vector<Found> found;
    for (const auto& [key, value] : table) {
      found.push_back({key.source().begin, {std::string(key.str()), convert(value, depth)}});
    }
    std::ranges::stable_sort(found, [](const Found& a, const Found& b) { return a.at < b.at; });
    Node::Table members;
    members.reserve(found.size());
    for (Found& entry : found) members.push_back(std::move(entry.member));
    return members;
  }

  std::shared_ptr<const std::string> source_;
  std::optional<base::Error> error_;
};

// Reads at most one byte more than allowed: a file may grow, or have a size that says nothing.
std::string read_at_most(std::ifstream& file, std::size_t bytes) {
  std::string text(bytes, '\0');
  file.read(text.data(), static_cast<std::streamsize>(bytes));
  text.resize(static_cast<std::size_t>(file.gcount()));
  return text;
}

base::Error too_large(const std::string& path, std::size_t largest_bytes, const std::string& found) {
  return {base::ErrorCode::kInvalidConfig,
          path + ": expected at most " + std::to_string(largest_bytes) + " bytes, found " + found};
}

}  // namespace

std::string on_one_line(std::string text) {
  for (char& character : text) {
    const auto byte = static_cast<unsigned char>(character);
    if (byte < 0x20 || byte == 0x7F) character = ' ';
  }
  return text;
}

base::Result<Node> parse_document(std::string_view text, std::string_view source) {
  const PlainText plain = plain_text(text);
  if (plain.complaint) return at_line(source, plain.complaint->line, plain.complaint->what);
  try {
    const toml::table table = toml::parse(plain.text, source);
    Converter converter(source);
    Node root = converter.convert(table);
    if (converter.error()) return *converter.error();
    return root;
  } catch (const toml::parse_error& error) {
    return at_line(source, static_cast<int>(error.source().begin.line), std::string(error.description()));
  }
}

const Node* member_of(const Node& table, std::string_view key) {
  const auto* members = std::get_if<Node::Table>(&table.value);
  if (members == nullptr) return nullptr;
  const auto found = std::ranges::find(*members, key, &Member::key);
  return found != members->end() ? &found->node : nullptr;
}

bool same_content(const Node& a, const Node& b) {
  if (a.value.index() != b.value.index()) return false;
  if (const auto* number = std::get_if<double>(&a.value)) {
    const double other = std::get<double>(b.value);
    return (std::isnan(*number) && std::isnan(other)) ||
           (*number == other && std::signbit(*number) == std::signbit(other));
  }
  if (const auto* elements = std::get_if<Node::Array>(&a.value)) {
    return std::ranges::equal(*elements, std::get<Node::Array>(b.value), same_content);
  }
  if (const auto* members = std::get_if<Node::Table>(&a.value)) {
    if (members->size() != std::get<Node::Table>(b.value).size()) return false;
    return std::ranges::all_of(*members, [&b](const Member& member) {
      const Node* other = member_of(b, member.key);
      return other != nullptr && same_content(member.node, *other);
    });
  }
  if (const auto* text = std::get_if<std::string>(&a.value)) return *text == std::get<std::string>(b.value);
  if (const auto* integer = std::get_if<std::int64_t>(&a.value)) {
    return *integer == std::get<std::int64_t>(b.value);
  }
  return std::get<bool>(a.value) == std::get<bool>(b.value);
}

base::Result<std::string> read_text_file(const std::string& path, std::size_t largest_bytes) {
  if (path.find('\0') != std::string::npos) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       on_one_line(path) + ": no file has a zero in its name"};
  }
  std::error_code failure;
  const auto status = std::filesystem::status(path, failure);
  if (status.type() == std::filesystem::file_type::not_found) {
    return base::Error{base::ErrorCode::kNotFound, path + ": no such file"};
  }
  if (failure) return base::Error{base::ErrorCode::kIo, path + ": cannot be opened: " + failure.message()};
  if (!std::filesystem::is_regular_file(status)) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": expected a file, found something else"};
  }
  const auto size = std::filesystem::file_size(path, failure);
  if (!failure && size > largest_bytes) return too_large(path, largest_bytes, std::to_string(size));
  std::ifstream file(path, std::ios::binary);
  if (!file) {
    return base::Error{base::ErrorCode::kIo,
                       path + ": cannot be opened: " + std::generic_category().message(errno)};
  }
  // What the size says is read at once, and a byte beyond it, which should not be there.
  const std::size_t expected = failure ? largest_bytes : static_cast<std::size_t>(size);
  std::string text = read_at_most(file, expected + 1);
  if (text.size() > expected && expected < largest_bytes)
    text += read_at_most(file, largest_bytes - expected);
  if (file.bad()) return base::Error{base::ErrorCode::kIo, path + ": cannot be read"};
  if (text.size() > largest_bytes) return too_large(path, largest_bytes, "more");
  return text;
}

}  // namespace crestgate::cell
