// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/words.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <optional>

namespace crestgate::simulator {

namespace {

constexpr std::string_view kBlanks = " \t\r\v\f";
constexpr std::size_t kLongestName = 32;
constexpr std::string_view kVaries = "+-";  // between mean and deviation

std::optional<double> number_in(std::string_view text) {
  double value = 0.0;
  const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (problem != std::errc() || end != text.data() + text.size() || !std::isfinite(value))
    return std::nullopt;
  return value;
}

}  // namespace

std::string in_words(double value) {
  std::array<char, 32> text{};
  const auto result =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::general, 12);
  return {text.data(), result.ptr};
}

std::string choice_of(std::span<const std::string_view> names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) text += i + 1 == names.size() ? " or " : ", ";
    text += "'" + std::string(names[i]) + "'";
  }
  return text;
}

Words::Words(std::string_view line, std::string where) : where_(std::move(where)) {
  line = line.substr(0, line.find('#'));
  while (true) {
    const std::size_t begin = line.find_first_not_of(kBlanks);
    if (begin == std::string_view::npos) return;
    const std::size_t end = std::min(line.find_first_of(kBlanks, begin), line.size());
    words_.emplace_back(line.substr(begin, end - begin));
    line.remove_prefix(end);
  }
}

base::Error Words::error(const std::string& what) const {
  return {base::ErrorCode::kInvalidConfig, where_ + ": " + what};
}

base::Error Words::expected(const std::string& what) const {
  std::string text = "expected " + what;
  if (next_ > 0) text += " after '" + words_[next_ - 1] + "'";
  return error(text + (at_end() ? ", found the end of the line" : ", found '" + words_[next_] + "'"));
}

base::Result<std::string> Words::word(const std::string& what) {
  if (at_end()) return expected(what);
  return words_[next_++];
}

base::Outcome Words::within(double value, const Limits& limits) const {
  if (value >= limits.lowest && value <= limits.highest) return base::Done{};
  return expected("a number within " + in_words(limits.lowest) + " to " + in_words(limits.highest));
}

base::Outcome Words::name_into(std::string& target) {
  auto text = word("a name");
  if (!text) return text.error();
  if (text->size() > kLongestName) return error("'" + *text + "' is longer than 32 characters");
  const bool printable = std::all_of(text->begin(), text->end(), [](char c) { return c > ' ' && c <= '~'; });
  if (!printable) return error("'" + *text + "' holds a character that is not printable ASCII");
  target = *text;
  return base::Done{};
}

base::Result<double> Words::number(const Limits& limits) {
  const std::optional<double> value = number_in(peek());
  if (!value) return expected("a number");
  if (auto inside = within(*value, limits); !inside) return inside.error();
  ++next_;
  return *value;
}

base::Outcome Words::number_into(const Limits& limits, double& target) {
  const auto value = number(limits);
  if (!value) return value.error();
  target = *value;
  return base::Done{};
}

base::Result<std::uint64_t> Words::whole_number(std::uint64_t highest) {
  const std::string_view text = peek();
  std::uint64_t value = 0;
  const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || problem != std::errc() || end != text.data() + text.size() || value > highest) {
    return expected("a whole number within 0 to " + std::to_string(highest));
  }
  ++next_;
  return value;
}

base::Result<Varied> Words::varied(const Limits& limits) {
  const std::string_view text = peek();
  const std::size_t sign = text.find(kVaries);
  if (sign == std::string_view::npos) {
    auto mean = number(limits);
    if (!mean) return mean.error();
    return Varied{.mean = *mean, .deviation = 0.0};
  }
  const auto mean = number_in(text.substr(0, sign));
  const auto deviation = number_in(text.substr(sign + kVaries.size()));
  if (!mean || !deviation || *deviation < 0.0) return expected("a number or mean+-deviation");
  if (auto inside = within(*mean, limits); !inside) return inside.error();
  ++next_;
  return Varied{.mean = *mean, .deviation = *deviation};
}

base::Result<std::size_t> Words::one_of(std::span<const std::string_view> choices) {
  const auto found = std::find(choices.begin(), choices.end(), peek());
  if (at_end() || found == choices.end()) return expected(choice_of(choices));
  ++next_;
  return static_cast<std::size_t>(found - choices.begin());
}

base::Outcome Words::end() {
  if (at_end()) return base::Done{};
  return expected("the end of the line");
}

base::Result<KeyValues> Words::keys(const std::string& statement, std::span<const Key> known) {
  std::vector<std::string_view> names;
  for (const Key& key : known) names.push_back(key.name);
  KeyValues values;
  while (!at_end()) {
    const auto index = one_of(names);
    if (!index) return index.error();
    const Key& key = known[*index];
    if (values.contains(key.name)) return error("'" + std::string(key.name) + "' is given twice");
    const auto value = varied(key.limits);
    if (!value) return value.error();
    values[key.name] = *value;
  }
  for (const Key& key : known) {
    if (key.required && !values.contains(key.name)) {
      return error("'" + statement + "' needs '" + std::string(key.name) + "'");
    }
  }
  return values;
}

}  // namespace crestgate::simulator
