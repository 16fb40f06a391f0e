// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/problems.h"

#include <array>
#include <charconv>
#include <cmath>

#include "base/utf8.h"

namespace crestgate::protocol {

void Problems::say(base::ErrorCode code, std::string_view field, std::string_view complaint) {
  if (first_) return;
  std::string detail = prefix_;
  detail.append(field).append(" ").append(complaint);
  first_ = base::Error{code, std::move(detail)};
}

void Problems::finite(std::string_view field, double value) {
  if (!std::isfinite(value))
    say(base::ErrorCode::kNotFinite, field, "is " + to_text(value) + ", not a number to keep");
}

void Problems::number(std::string_view field, double value, Range range) {
  finite(field, value);
  const bool low_enough = value <= range.highest;
  const bool high_enough = range.lowest_allowed ? value >= range.lowest : value > range.lowest;
  if (low_enough && high_enough) return;
  const std::string_view border = range.lowest_allowed ? "expected from " : "expected above ";
  say(base::ErrorCode::kOutOfRange, field,
      "is " + to_text(value) + ", " + std::string(border) + to_text(range.lowest) + " up to " +
          to_text(range.highest));
}

void Problems::text(std::string_view field, std::string_view value) {
  if (!base::is_utf8(value)) say(base::ErrorCode::kMalformed, field, "is not UTF-8 text");
}

void Problems::small(std::string_view field, std::uint64_t value, std::uint64_t highest) {
  if (value <= highest) return;
  say(base::ErrorCode::kOutOfRange, field,
      "is " + std::to_string(value) + ", expected at most " + std::to_string(highest));
}

std::string to_text(double value) {
  std::array<char, 32> digits{};  // the longest shortest form has 24 characters
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value).ptr;
  return {digits.data(), end};
}

}  // namespace crestgate::protocol
