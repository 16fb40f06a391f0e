// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/ratio_symbol.h"

#include <array>
#include <charconv>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

enum class Quantity { kPercent, kHeight };

struct Argument {
  Quantity quantity = Quantity::kPercent;
  double value = 0.0;  // percent or um
};

struct UnitName {
  std::string_view written;
  Quantity quantity;
  double numerator;
  double denominator;
};
// The micro sign U+00B5 and the Greek mu U+03BC look alike and are both typed.
constexpr std::array<UnitName, 6> kUnits = {{{"%", Quantity::kPercent, 1.0, 1.0},
                                             {"um", Quantity::kHeight, 1.0, 1.0},
                                             {"\xC2\xB5m", Quantity::kHeight, 1.0, 1.0},
                                             {"\xCE\xBCm", Quantity::kHeight, 1.0, 1.0},
                                             {"nm", Quantity::kHeight, 1.0, 1e3},
                                             {"mm", Quantity::kHeight, 1e3, 1.0}}};

constexpr std::string_view kExamples = "Rmr(0.5um), Rmr(5%,1.0um), Rmc(10%) or Rdc(2%,98%)";

std::string without_blanks(std::string_view text) {
  std::string packed;
  for (const char c : text) {
    if (c != ' ' && c != '\t') packed += c;
  }
  return packed;
}

// On one line, and not too long of it.
std::string shown(std::string_view text) {
  constexpr std::size_t kMostShown = 60;
  std::string result = "'";
  for (const char c : text.substr(0, kMostShown)) {
    const auto byte = static_cast<unsigned char>(c);
    result += byte < 0x20 || byte == 0x7F ? '?' : c;
  }
  return result + (text.size() > kMostShown ? "...'" : "'");
}

base::Error refused(std::string_view written, const std::string& what) {
  return {base::ErrorCode::kInvalidConfig, shown(written) + ": " + what};
}

std::vector<std::string_view> split(std::string_view text) {
  std::vector<std::string_view> parts;
  for (std::size_t comma = text.find(','); comma != std::string_view::npos; comma = text.find(',')) {
    parts.push_back(text.substr(0, comma));
    text.remove_prefix(comma + 1);
  }
  parts.push_back(text);
  return parts;
}

base::Result<Argument> parse_argument(std::string_view written, std::string_view text) {
  std::string_view digits = text;
  if (digits.starts_with('+') && !digits.starts_with("+-")) digits.remove_prefix(1);
  double value = 0.0;
  const char* last = digits.data() + digits.size();
  const auto [end, failure] = std::from_chars(digits.data(), last, value);
  if (failure != std::errc{} || !std::isfinite(value)) {
    return refused(written, "expected a number with its unit, found " + shown(text));
  }
  const std::string_view unit(end, static_cast<std::size_t>(last - end));
  for (const UnitName& known : kUnits) {
    if (known.written != unit) continue;
    const double converted = value * known.numerator / known.denominator;
    if (!std::isfinite(converted)) return refused(written, shown(text) + " is not a finite height");
    return Argument{known.quantity, converted + 0.0};  // no -0
  }
  return refused(written, "expected % or um after " + shortest(value) + ", found " + shown(unit) +
                              " (numbers have a decimal point, not a comma)");
}

base::Outcome check_percent(std::string_view written, double percent) {
  if (percent >= 0.0 && percent <= 100.0) return base::Done{};
  return refused(written, "a material ratio lies between 0 and 100 %, found " + shortest(percent) + " %");
}

base::Result<RatioSymbol> material_ratio(std::string_view written, char profile,
                                         const std::vector<Argument>& arguments) {
  const std::string name = std::string(1, profile) + "mr";
  if (arguments.size() == 1) {
    if (arguments[0].quantity != Quantity::kHeight) {
      return refused(written, name + " with one number takes a height above the mean line in um, as in " +
                                  name + "(0.5um)");
    }
    return RatioSymbol{profile, RatioFamily::kRatioAtHeight, arguments[0].value, 0.0};
  }
  if (arguments[0].quantity != Quantity::kPercent || arguments[1].quantity != Quantity::kHeight) {
    return refused(written,
                   name + " with two numbers takes the reference ratio in %, then the depth in um, as in " +
                       name + "(5%,1.0um)");
  }
  if (auto checked = check_percent(written, arguments[0].value); !checked) return checked.error();
  if (!(arguments[1].value >= 0.0)) {
    return refused(written, "the depth counts into the material and is never negative, found " +
                                shortest(arguments[1].value) + " um");
  }
  return RatioSymbol{profile, RatioFamily::kRatioAtDepth, arguments[0].value, arguments[1].value};
}

base::Result<RatioSymbol> height_from_ratios(std::string_view written, char profile, RatioFamily family,
                                             const std::vector<Argument>& arguments) {
  for (const Argument& argument : arguments) {
    if (argument.quantity != Quantity::kPercent) {
      return refused(written, "takes material ratios in %, as in " + std::string(kExamples));
    }
    if (auto checked = check_percent(written, argument.value); !checked) return checked.error();
  }
  if (family == RatioFamily::kHeightAtRatio) return RatioSymbol{profile, family, arguments[0].value, 0.0};
  if (!(arguments[0].value < arguments[1].value)) {
    return refused(written, "the first ratio must be smaller than the second, found " +
                                shortest(arguments[0].value) + " % and " + shortest(arguments[1].value) +
                                " %");
  }
  return RatioSymbol{profile, family, arguments[0].value, arguments[1].value};
}

}  // namespace

bool is_ratio_symbol(std::string_view written) {
  const std::string text = without_blanks(written);
  if (text.size() < 3) return false;
  const std::string_view family = std::string_view(text).substr(1, 2);
  const bool known = family == "mr" || family == "mc" || family == "dc";
  return (text[0] == 'R' || text[0] == 'P' || text[0] == 'W') && known &&
         (text.size() == 3 || text[3] == '(');
}

base::Result<RatioSymbol> parse_ratio_symbol(std::string_view written) {
  const std::string text = without_blanks(written);
  if (!is_ratio_symbol(text)) return refused(written, "expected " + std::string(kExamples));
  const std::string_view family = std::string_view(text).substr(1, 2);
  if (text.size() < 6 || text.back() != ')') {
    return refused(written, "says nothing without its numbers in brackets, as in " + std::string(kExamples));
  }
  const auto parts = split(std::string_view(text).substr(4, text.size() - 5));
  const std::size_t most = family == "mc" ? 1 : 2;
  const std::size_t fewest = family == "dc" ? 2 : 1;
  if (parts.size() < fewest || parts.size() > most) {
    return refused(written, "expected " +
                                std::string(family == "mc"   ? "one number"
                                            : family == "dc" ? "two numbers"
                                                             : "one or two numbers") +
                                ", found " + std::to_string(parts.size()) +
                                " (numbers have a decimal point, not a comma)");
  }
  std::vector<Argument> arguments;
  for (const std::string_view part : parts) {
    auto argument = parse_argument(written, part);
    if (!argument) return argument.error();
    arguments.push_back(*argument);
  }
  if (family == "mr") return material_ratio(written, text[0], arguments);
  return height_from_ratios(written, text[0],
                            family == "mc" ? RatioFamily::kHeightAtRatio : RatioFamily::kHeightBetweenRatios,
                            arguments);
}

std::string symbol_of(const RatioSymbol& symbol) {
  const std::string profile(1, symbol.profile);
  switch (symbol.family) {
    case RatioFamily::kRatioAtHeight:
      return profile + "mr(" + with_decimal(symbol.first) + "um)";
    case RatioFamily::kRatioAtDepth:
      return profile + "mr(" + shortest(symbol.first) + "%," + with_decimal(symbol.second) + "um)";
    case RatioFamily::kHeightAtRatio:
      return profile + "mc(" + shortest(symbol.first) + "%)";
    case RatioFamily::kHeightBetweenRatios:
      return profile + "dc(" + shortest(symbol.first) + "%," + shortest(symbol.second) + "%)";
  }
  return "";
}

std::string_view unit_of(const RatioSymbol& symbol) {
  switch (symbol.family) {
    case RatioFamily::kRatioAtHeight:
    case RatioFamily::kRatioAtDepth:
      return "%";
    case RatioFamily::kHeightAtRatio:
    case RatioFamily::kHeightBetweenRatios:
      return "um";
  }
  return "";
}

}  // namespace crestgate::analysis
