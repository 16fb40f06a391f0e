// SPDX-License-Identifier: Apache-2.0
#pragma once
// Strict reading of one table of a description: every key must be known, every value of the right kind and in
// range.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/result.h"
#include "daemon/cell/config/document.h"

namespace crestgate::cell {

// Keeps the first complaint about a description; later ones would be consequences.
class Complaints {
 public:
  // `source` names the file of what has no place of its own.
  explicit Complaints(std::string source) : source_(std::move(source)) {}
  // "<file> line <n>: <what>".
  void at(const Place& place, const std::string& what);
  [[nodiscard]] const std::optional<base::Error>& first() const { return first_; }

 private:
  std::string source_;
  std::optional<base::Error> first_;
};

struct NumberRange {
  double lowest;
  double highest;
};

// Purpose   reads keys one by one; finish() then complains about keys that nobody asked for.
// Errors    go to `complaints`; a getter that complained returns a harmless value of its type.
// Lifetime  `node` and `complaints` outlive the reader.
class TableReader {
 public:
  TableReader(const Node& node, std::string place, Complaints& complaints);

  [[nodiscard]] const Place& place() const { return node_->place; }
  [[nodiscard]] bool has(std::string_view key) const { return find(key) != nullptr; }

  std::string text(std::string_view key);  // required, not empty
  std::optional<std::string> text_if_given(std::string_view key);
  double number(std::string_view key, NumberRange range);
  std::optional<double> number_if_given(std::string_view key, NumberRange range);
  std::int64_t integer(std::string_view key, std::int64_t lowest, std::int64_t highest);
  std::optional<std::int64_t> integer_if_given(std::string_view key, std::int64_t lowest,
                                               std::int64_t highest);
  std::optional<bool> truth_if_given(std::string_view key);
  std::optional<NumberRange> span_if_given(std::string_view key, NumberRange range);  // [lowest, highest]
  std::vector<std::string> texts_if_given(std::string_view key);                      // ["a", "b"]

  // One of `choices` (text in the file, value in the program).
  template <class T>
  T choice(std::string_view key, std::span<const std::pair<std::string_view, T>> choices) {
    const std::string given = text(key);
    for (const auto& [name, value] : choices) {
      if (name == given) return value;
    }
    std::string names;
    for (const auto& [name, value] : choices) names += (names.empty() ? "" : ", ") + std::string(name);
    if (!given.empty()) complain(key, "expected one of: " + names + "; found '" + given + "'");
    return choices.front().second;
  }

  template <class T>
  std::optional<T> choice_if_given(std::string_view key,
                                   std::span<const std::pair<std::string_view, T>> choices) {
    if (!text_if_given(key)) return std::nullopt;
    return choice<T>(key, choices);
  }

  std::optional<TableReader> table_if_given(std::string_view key);
  TableReader table(std::string_view key);                // required; an empty one after a complaint
  std::vector<TableReader> tables(std::string_view key);  // [[key]]; required, at least one
  std::vector<TableReader> tables_if_given(std::string_view key);

  void complain(std::string_view key, const std::string& what);  // at the key, or at the table without it
  void miss(std::string_view key, const std::string& why = "");  // "is missing", in every file it could be in
  [[nodiscard]] bool failed() const { return complaints_->first().has_value(); }
  void finish();

 private:
  [[nodiscard]] const Node* find(std::string_view key) const;
  const Node* take(std::string_view key, bool required);
  [[nodiscard]] std::string place_of(std::string_view key) const;

  const Node* node_;
  std::string place_;
  Complaints* complaints_;
  std::vector<std::string> asked_;
};

}  // namespace crestgate::cell
