// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/document.h"

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
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

class Converter {
 public:
  explicit Converter(std::string_view source) : source_(source) {}

  Node convert(const toml::node& from) {
    Node node;
    node.line = static_cast<int>(from.source().begin.line);
    if (const auto* table = from.as_table()) {
      Node::Table members;
      for (const auto& [key, value] : *table) members.push_back({std::string(key.str()), convert(value)});
      node.value = std::move(members);
    } else if (const auto* array = from.as_array()) {
      Node::Array elements;
      for (const auto& element : *array) elements.push_back(convert(element));
      node.value = std::move(elements);
    } else if (const auto* text = from.as_string()) {
      node.value = text->get();
    } else if (const auto* integer = from.as_integer()) {
      node.value = integer->get();
    } else if (const auto* number = from.as_floating_point()) {
      node.value = number->get();
    } else if (const auto* truth = from.as_boolean()) {
      node.value = truth->get();
    } else if (!error_) {
      error_ = at_line(source_, node.line, "dates and times have no use here");
    }
    return node;
  }

  [[nodiscard]] const std::optional<base::Error>& error() const { return error_; }

 private:
  std::string_view source_;
  std::optional<base::Error> error_;
};

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

base::Result<std::string> read_text_file(const std::string& path, std::size_t largest_bytes) {
  std::error_code failure;
  const auto status = std::filesystem::status(path, failure);
  if (!std::filesystem::exists(status)) {
    return base::Error{base::ErrorCode::kNotFound, path + ": no such file"};
  }
  if (!std::filesystem::is_regular_file(status)) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": expected a file, found something else"};
  }
  const auto size = std::filesystem::file_size(path, failure);
  if (!failure && size > largest_bytes) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": expected at most " +
                                                            std::to_string(largest_bytes) + " bytes, found " +
                                                            std::to_string(size)};
  }
  std::ifstream file(path, std::ios::binary);
  if (!file) {
    return base::Error{base::ErrorCode::kIo,
                       path + ": cannot be opened: " + std::generic_category().message(errno)};
  }
  std::string text((std::istreambuf_iterator<char>(file)), std::istreambuf_iterator<char>());
  if (file.bad()) return base::Error{base::ErrorCode::kIo, path + ": cannot be read"};
  return text;
}

}  // namespace crestgate::cell
