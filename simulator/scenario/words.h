// SPDX-License-Identifier: Apache-2.0
#pragma once
// The words of one statement, and errors that say where they stand and what was expected.

#include <cstdint>
#include <initializer_list>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

struct Limits {
  double lowest = 0.0;
  double highest = 0.0;
};

// A key that a statement knows.
struct Key {
  std::string_view name;
  bool required = false;
  Limits limits;
};
using KeyValues = std::map<std::string_view, Varied>;  // keyed by Key::name

class Words {
 public:
  // Everything from '#' on is left out. `where` begins every error: "demo.scenario line 7".
  Words(std::string_view line, std::string where);

  [[nodiscard]] bool at_end() const { return next_ == words_.size(); }
  [[nodiscard]] std::string_view peek() const { return at_end() ? std::string_view() : words_[next_]; }

  // Errors  kInvalidConfig, naming `what` was expected.
  base::Result<std::string> word(const std::string& what);
  // A printable word without blanks of at most 32 characters: what a PLC has room for.
  base::Outcome name_into(std::string& target);
  base::Result<double> number(const Limits& limits);
  base::Outcome number_into(const Limits& limits, double& target);
  base::Result<std::uint64_t> whole_number(std::uint64_t highest);
  // A number or mean+-deviation, as in 0.45+-0.03.
  base::Result<Varied> varied(const Limits& limits);
  // One of the words given; returns its index.
  base::Result<std::size_t> one_of(std::span<const std::string_view> choices);
  base::Outcome end();

  // The rest of the line as "key value" pairs, each key at most once, all required ones there.
  base::Result<KeyValues> keys(const std::string& statement, std::span<const Key> known);

  // An error at the next word, or after the last one taken.
  [[nodiscard]] base::Error expected(const std::string& what) const;
  [[nodiscard]] base::Error error(const std::string& what) const;

 private:
  [[nodiscard]] base::Outcome within(double value, const Limits& limits) const;

  std::string where_;
  std::vector<std::string> words_;
  std::size_t next_ = 0;
};

// "'a', 'b' or 'c'".
std::string choice_of(std::span<const std::string_view> names);
// 0.25, 1000, 1e-06: short, for people.
std::string in_words(double value);

}  // namespace crestgate::simulator
