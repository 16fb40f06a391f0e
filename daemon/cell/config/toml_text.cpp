// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/toml_text.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <string_view>

#include "base/expects.h"

namespace crestgate::cell {
namespace {

bool is_bare(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
}

void write_quoted(std::string_view text, std::string& out) {
  out += '"';
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (byte < 0x20 || byte == 0x7F) {
      std::array<char, 8> escape{};
      std::snprintf(escape.data(), escape.size(), "\\u%04X", static_cast<unsigned>(byte));
      out += escape.data();
    } else {
      out += c;
    }
  }
  out += '"';
}

void write_key(std::string_view key, std::string& out) {
  if (!key.empty() && std::ranges::all_of(key, is_bare)) {
    out += key;
  } else {
    write_quoted(key, out);
  }
}

void write_number(double number, std::string& out) {
  if (!std::isfinite(number)) {
    out += std::isnan(number) ? "nan" : number > 0.0 ? "inf" : "-inf";
    return;
  }
  std::array<char, 32> digits{};
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  const std::string_view written(digits.data(), static_cast<std::size_t>(end - digits.data()));
  out += written;
  if (written.find_first_of(".e") == std::string_view::npos) out += ".0";
}

void write_value(const Node& node, std::string& out);

void write_inline(const Node::Table& members, std::string& out) {
  out += '{';
  for (std::size_t i = 0; i < members.size(); ++i) {
    if (i > 0) out += ", ";
    write_key(members[i].key, out);
    out += " = ";
    write_value(members[i].node, out);
  }
  out += '}';
}

void write_value(const Node& node, std::string& out) {
  if (const auto* truth = std::get_if<bool>(&node.value)) {
    out += *truth ? "true" : "false";
  } else if (const auto* integer = std::get_if<std::int64_t>(&node.value)) {
    out += std::to_string(*integer);
  } else if (const auto* number = std::get_if<double>(&node.value)) {
    write_number(*number, out);
  } else if (const auto* text = std::get_if<std::string>(&node.value)) {
    write_quoted(*text, out);
  } else if (const auto* elements = std::get_if<Node::Array>(&node.value)) {
    out += '[';
    for (std::size_t i = 0; i < elements->size(); ++i) {
      if (i > 0) out += ", ";
      write_value((*elements)[i], out);
    }
    out += ']';
  } else {
    write_inline(std::get<Node::Table>(node.value), out);
  }
}

// The entries of a list that stands under headers; null: it does not.
const Node::Array* entries_of(const Node& node) {
  const auto* elements = std::get_if<Node::Array>(&node.value);
  if (elements == nullptr || elements->empty()) return nullptr;
  const auto is_table = [](const Node& element) {
    return std::holds_alternative<Node::Table>(element.value);
  };
  return std::ranges::all_of(*elements, is_table) ? elements : nullptr;
}

void write_table(const Node& table, const std::string& header, std::string& out) {
  const auto& members = std::get<Node::Table>(table.value);
  for (const Member& member : members) {
    if (entries_of(member.node) != nullptr) continue;
    write_key(member.key, out);
    out += " = ";
    write_value(member.node, out);
    out += '\n';
  }
  for (const Member& member : members) {
    const Node::Array* entries = entries_of(member.node);
    if (entries == nullptr) continue;
    std::string below = header.empty() ? "" : header + ".";
    write_key(member.key, below);
    for (const Node& entry : *entries) {
      out += "\n[[" + below + "]]\n";
      write_table(entry, below, out);
    }
  }
}

}  // namespace

std::string toml_text(const Node& root) {
  CRESTGATE_EXPECTS(std::holds_alternative<Node::Table>(root.value));
  std::string out;
  write_table(root, "", out);
  return out;
}

}  // namespace crestgate::cell
