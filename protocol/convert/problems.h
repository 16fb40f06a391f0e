// SPDX-License-Identifier: Apache-2.0
#pragma once
// Collects the first thing that is wrong with a record, with the name of the field.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "base/result.h"

namespace crestgate::protocol {

struct Range {
  double lowest = 0.0;
  double highest = 0.0;
  bool lowest_allowed = true;  // false: must be greater than `lowest`
};

// Names are built as prefix + field, and only when something is wrong: "judgement.results[3].lower".
class Problems {
 public:
  explicit Problems(std::string prefix) : prefix_(std::move(prefix)) {}

  void set_prefix(std::string prefix) { prefix_ = std::move(prefix); }
  void say(base::ErrorCode code, std::string_view field, std::string_view complaint);

  // Each adds a complaint if the value cannot be.
  void finite(std::string_view field, double value);
  void number(std::string_view field, double value, Range range);
  void text(std::string_view field, std::string_view value);  // must be UTF-8
  void small(std::string_view field, std::uint64_t value, std::uint64_t highest);

  [[nodiscard]] const std::optional<base::Error>& first() const { return first_; }

 private:
  std::string prefix_;
  std::optional<base::Error> first_;
};

// Shortest decimal text that reads back to the same number; the same in every locale.
[[nodiscard]] std::string to_text(double value);

}  // namespace crestgate::protocol
