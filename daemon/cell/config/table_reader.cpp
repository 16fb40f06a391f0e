// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/table_reader.h"

#include <algorithm>
#include <cmath>
#include <sstream>

namespace crestgate::cell {
namespace {

std::string kind_of(const Node& node) {
  static constexpr std::string_view kKinds[] = {"true or false", "a whole number", "a number",
                                                "a text",        "a list",         "a table"};
  return std::string(kKinds[node.value.index()]);
}

std::string shown(double value) {
  std::ostringstream text;
  text.imbue(std::locale::classic());
  text << value;
  return text.str();
}

const Node& empty_table() {
  static const Node empty{Node::Table{}, 0};
  return empty;
}

}  // namespace

void Complaints::at(int line, const std::string& what) {
  if (first_) return;
  first_ = base::Error{base::ErrorCode::kInvalidConfig,
                       on_one_line(source_ + " line " + std::to_string(std::max(line, 1)) + ": " + what)};
}

TableReader::TableReader(const Node& node, std::string place, Complaints& complaints)
    : node_(&node), place_(std::move(place)), complaints_(&complaints) {
  if (!std::holds_alternative<Node::Table>(node.value)) {
    complaints.at(node.line, place_ + ": expected a table, found " + kind_of(node));
    node_ = &empty_table();
  }
}

std::string TableReader::place_of(std::string_view key) const {
  return place_.empty() ? std::string(key) : place_ + "." + std::string(key);
}

const Node* TableReader::find(std::string_view key) const {
  for (const Member& member : std::get<Node::Table>(node_->value)) {
    if (member.key == key) return &member.node;
  }
  return nullptr;
}

int TableReader::line_of(std::string_view key) const {
  const Node* node = find(key);
  return node != nullptr ? node->line : node_->line;
}

void TableReader::complain(std::string_view key, const std::string& what) {
  complaints_->at(line_of(key), place_of(key) + ": " + what);
}

const Node* TableReader::take(std::string_view key, bool required) {
  asked_.emplace_back(key);
  const Node* node = find(key);
  if (node == nullptr && required) complaints_->at(node_->line, place_of(key) + ": is missing");
  return node;
}

std::optional<std::string> TableReader::text_if_given(std::string_view key) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  const auto* text = std::get_if<std::string>(&node->value);
  if (text == nullptr) {
    complain(key, "expected a text in quotes, found " + kind_of(*node));
    return std::nullopt;
  }
  if (text->empty()) {
    complain(key, "expected a text, found an empty one");
    return std::nullopt;
  }
  return *text;
}

std::string TableReader::text(std::string_view key) {
  if (!has(key)) complaints_->at(node_->line, place_of(key) + ": is missing");
  return text_if_given(key).value_or("");
}

std::optional<double> TableReader::number_if_given(std::string_view key, NumberRange range) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  double value = 0.0;
  if (const auto* number = std::get_if<double>(&node->value)) {
    value = *number;
  } else if (const auto* integer = std::get_if<std::int64_t>(&node->value)) {
    value = static_cast<double>(*integer);
  } else {
    complain(key, "expected a number, found " + kind_of(*node));
    return std::nullopt;
  }
  if (!std::isfinite(value) || value < range.lowest || value > range.highest) {
    complain(key,
             "expected " + shown(range.lowest) + " to " + shown(range.highest) + ", found " + shown(value));
    return std::nullopt;
  }
  return value;
}

double TableReader::number(std::string_view key, NumberRange range) {
  if (!has(key)) complaints_->at(node_->line, place_of(key) + ": is missing");
  return number_if_given(key, range).value_or(range.lowest);
}

std::optional<std::int64_t> TableReader::integer_if_given(std::string_view key, std::int64_t lowest,
                                                          std::int64_t highest) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  const auto* integer = std::get_if<std::int64_t>(&node->value);
  if (integer == nullptr) {
    complain(key, "expected a whole number, found " + kind_of(*node));
    return std::nullopt;
  }
  if (*integer < lowest || *integer > highest) {
    complain(key, "expected " + std::to_string(lowest) + " to " + std::to_string(highest) + ", found " +
                      std::to_string(*integer));
    return std::nullopt;
  }
  return *integer;
}

std::int64_t TableReader::integer(std::string_view key, std::int64_t lowest, std::int64_t highest) {
  if (!has(key)) complaints_->at(node_->line, place_of(key) + ": is missing");
  return integer_if_given(key, lowest, highest).value_or(lowest);
}

std::optional<bool> TableReader::truth_if_given(std::string_view key) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  const auto* truth = std::get_if<bool>(&node->value);
  if (truth == nullptr) {
    complain(key, "expected true or false, found " + kind_of(*node));
    return std::nullopt;
  }
  return *truth;
}

std::optional<TableReader> TableReader::table_if_given(std::string_view key) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  return TableReader(*node, place_of(key), *complaints_);
}

TableReader TableReader::table(std::string_view key) {
  const Node* node = take(key, true);
  return TableReader(node != nullptr ? *node : empty_table(), place_of(key), *complaints_);
}

std::vector<TableReader> TableReader::tables_if_given(std::string_view key) {
  const Node* node = take(key, false);
  std::vector<TableReader> readers;
  if (node == nullptr) return readers;
  const auto* elements = std::get_if<Node::Array>(&node->value);
  if (elements == nullptr) {
    complain(key, "expected a list of tables, written [[" + place_of(key) + "]], found " + kind_of(*node));
    return readers;
  }
  for (std::size_t i = 0; i < elements->size(); ++i) {
    readers.emplace_back((*elements)[i], place_of(key) + "[" + std::to_string(i + 1) + "]", *complaints_);
  }
  return readers;
}

std::vector<TableReader> TableReader::tables(std::string_view key) {
  auto readers = tables_if_given(key);
  if (readers.empty()) complain(key, "expected at least one [[" + place_of(key) + "]]");
  return readers;
}

void TableReader::finish() {
  for (const Member& member : std::get<Node::Table>(node_->value)) {
    if (std::find(asked_.begin(), asked_.end(), member.key) != asked_.end()) continue;
    std::string known;
    for (const std::string& key : asked_) known += (known.empty() ? "" : ", ") + key;
    complaints_->at(member.node.line, (place_.empty() ? "" : place_ + ": ") + std::string("unknown key '") +
                                          member.key + "'; known here: " + known);
  }
}

}  // namespace crestgate::cell
