// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/problems.h"

#include <array>
#include <charconv>
#include <cmath>

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
  if (!is_utf8(value)) say(base::ErrorCode::kMalformed, field, "is not UTF-8 text");
}

void Problems::small(std::string_view field, std::uint64_t value, std::uint64_t highest) {
  if (value <= highest) return;
  say(base::ErrorCode::kOutOfRange, field,
      "is " + std::to_string(value) + ", expected at most " + std::to_string(highest));
}

namespace {

struct Lead {
  std::size_t following = 0;
  std::uint8_t first_low = 0x80;  // range of the byte after the lead: excludes overlong forms and surrogates
  std::uint8_t first_high = 0xBF;
  bool valid = true;
};

Lead lead_of(std::uint8_t byte) {
  if (byte < 0x80U) return {.following = 0};
  if (byte >= 0xC2U && byte <= 0xDFU) return {.following = 1};
  if (byte == 0xE0U) return {.following = 2, .first_low = 0xA0};
  if (byte == 0xEDU) return {.following = 2, .first_high = 0x9F};
  if (byte >= 0xE1U && byte <= 0xEFU) return {.following = 2};
  if (byte == 0xF0U) return {.following = 3, .first_low = 0x90};
  if (byte >= 0xF1U && byte <= 0xF3U) return {.following = 3};
  if (byte == 0xF4U) return {.following = 3, .first_high = 0x8F};
  return {.valid = false};
}

}  // namespace

bool is_utf8(std::string_view text) {
  const auto at = [text](std::size_t i) { return static_cast<std::uint8_t>(text[i]); };
  for (std::size_t i = 0; i < text.size();) {
    const Lead lead = lead_of(at(i));
    if (!lead.valid || text.size() - i <= lead.following) return false;
    for (std::size_t k = 1; k <= lead.following; ++k) {
      const std::uint8_t low = k == 1 ? lead.first_low : std::uint8_t{0x80};
      const std::uint8_t high = k == 1 ? lead.first_high : std::uint8_t{0xBF};
      if (at(i + k) < low || at(i + k) > high) return false;
    }
    i += lead.following + 1;
  }
  return true;
}

std::string to_text(double value) {
  std::array<char, 32> digits{};  // the longest shortest form has 24 characters
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value).ptr;
  return {digits.data(), end};
}

}  // namespace crestgate::protocol
