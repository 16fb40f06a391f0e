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

std::optional<double> number_in(const Node& node) {
  if (const auto* number = std::get_if<double>(&node.value)) return *number;
  if (const auto* integer = std::get_if<std::int64_t>(&node.value)) return static_cast<double>(*integer);
  return std::nullopt;
}

const Node& empty_table() {
  static const Node empty{.value = Node::Table{}};
  return empty;
}

}  // namespace

void Complaints::at(const Place& place, const std::string& what) {
  if (first_) return;
  first_ = base::Error{base::ErrorCode::kInvalidConfig,
                       on_one_line((place.source ? *place.source : source_) + " line " +
                                   std::to_string(std::max(place.line, 1)) + ": " + what)};
}

TableReader::TableReader(const Node& node, std::string place, Complaints& complaints)
    : node_(&node), place_(std::move(place)), complaints_(&complaints) {
  if (!std::holds_alternative<Node::Table>(node.value)) {
    complaints.at(node.place, place_ + ": expected a table, found " + kind_of(node));
    node_ = &empty_table();
  }
}

std::string TableReader::place_of(std::string_view key) const {
  return place_.empty() ? std::string(key) : place_ + "." + std::string(key);
}

const Node* TableReader::find(std::string_view key) const { return member_of(*node_, key); }

void TableReader::complain(std::string_view key, const std::string& what) {
  const Node* node = find(key);
  complaints_->at(node != nullptr ? node->place : node_->place, place_of(key) + ": " + what);
}

void TableReader::miss(std::string_view key, const std::string& why) {
  std::string what = place_of(key) + ": is missing" + why;
  if (const auto& elsewhere = node_->elsewhere; elsewhere && elsewhere->source) {
    what += "; not in " + *elsewhere->source;
    if (elsewhere->line > 0) what += " line " + std::to_string(elsewhere->line);
    what += " either";
  }
  complaints_->at(node_->place, what);
}

const Node* TableReader::take(std::string_view key, bool required) {
  if (std::ranges::find(asked_, key) == asked_.end()) asked_.emplace_back(key);
  const Node* node = find(key);
  if (node == nullptr && required) miss(key);
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
  if (!has(key)) miss(key);
  return text_if_given(key).value_or("");
}

std::optional<double> TableReader::number_if_given(std::string_view key, NumberRange range) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  const std::optional<double> value = number_in(*node);
  if (!value) {
    complain(key, "expected a number, found " + kind_of(*node));
    return std::nullopt;
  }
  if (!(*value >= range.lowest && *value <= range.highest)) {
    complain(key,
             "expected " + shown(range.lowest) + " to " + shown(range.highest) + ", found " + shown(*value));
    return std::nullopt;
  }
  return value;
}

double TableReader::number(std::string_view key, NumberRange range) {
  if (!has(key)) miss(key);
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
  if (!has(key)) miss(key);
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

std::optional<NumberRange> TableReader::span_if_given(std::string_view key, NumberRange range) {
  const Node* node = take(key, false);
  if (node == nullptr) return std::nullopt;
  const auto* elements = std::get_if<Node::Array>(&node->value);
  if (elements == nullptr || elements->size() != 2) {
    complain(key, "expected a list of two numbers, the lower one first");
    return std::nullopt;
  }
  for (const Node& element : *elements) {
    const std::optional<double> value = number_in(element);
    if (value && *value >= range.lowest && *value <= range.highest) continue;
    complain(key, "expected numbers from " + shown(range.lowest) + " to " + shown(range.highest) +
                      ", found " + (value ? shown(*value) : kind_of(element)));
    return std::nullopt;
  }
  const NumberRange span{.lowest = *number_in(elements->front()), .highest = *number_in(elements->back())};
  if (span.lowest <= span.highest) return span;
  complain(key,
           "expected the lower number first, found " + shown(span.lowest) + " before " + shown(span.highest));
  return std::nullopt;
}

std::vector<std::string> TableReader::texts_if_given(std::string_view key) {
  const Node* node = take(key, false);
  std::vector<std::string> texts;
  if (node == nullptr) return texts;
  const auto* elements = std::get_if<Node::Array>(&node->value);
  if (elements == nullptr) {
    complain(key, "expected a list of texts, found " + kind_of(*node));
    return texts;
  }
  for (const Node& element : *elements) {
    const auto* text = std::get_if<std::string>(&element.value);
    if (text == nullptr) {
      complain(key, "expected a list of texts, found " + kind_of(element) + " in it");
      return {};
    }
    texts.push_back(*text);
  }
  return texts;
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
    const std::string& label = (*elements)[i].label;
    readers.emplace_back((*elements)[i],
                         label.empty() ? place_of(key) + "[" + std::to_string(i + 1) + "]" : place_of(label),
                         *complaints_);
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
    complaints_->at(member.node.place, (place_.empty() ? "" : place_ + ": ") + std::string("unknown key '") +
                                           member.key + "'; known here: " + known);
  }
}

}  // namespace crestgate::cell
