// SPDX-License-Identifier: Apache-2.0
#include "analysis/text/number_text.h"

#include <array>
#include <charconv>
#include <cmath>

namespace crestgate::analysis {
namespace {

constexpr double kLongestPlain = 1e15;  // beyond, the plain form would not be short any more

}  // namespace

std::string shortest(double value) {
  std::array<char, 64> buffer{};
  const bool plain =
      std::abs(value) < kLongestPlain && (value == 0.0 || std::abs(value) > 1.0 / kLongestPlain);
  const auto end =
      plain ? std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed)
            : std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return {buffer.data(), end.ptr};
}

std::string with_decimal(double value) {
  std::string text = shortest(value);
  if (text.find_first_not_of("-0123456789") == std::string::npos) text += ".0";
  return text;
}

std::string fixed(double value, int decimals) {
  std::array<char, 400> buffer{};  // the longest double has 309 digits before its point
  const auto end =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed, decimals);
  return {buffer.data(), end.ptr};
}

}  // namespace crestgate::analysis
