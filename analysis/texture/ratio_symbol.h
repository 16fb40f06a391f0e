// SPDX-License-Identifier: Apache-2.0
#pragma once
// Symbols with settings inside: material ratios, and the heights at and between them.

#include <string>
#include <string_view>

#include "base/result.h"

namespace crestgate::analysis {

enum class RatioFamily {
  kRatioAtHeight,        // Rmr(c): ratio at `first` um above the mean line
  kRatioAtDepth,         // Rmr(p,dc): ratio at `second` um below the height where it is `first` percent
  kHeightAtRatio,        // Rmc(p): height where the ratio is `first` percent
  kHeightBetweenRatios,  // Rdc(p,q): height between the ratios `first` and `second` percent, first < second
};

struct RatioSymbol {
  char profile = 'R';  // R, P or W
  RatioFamily family = RatioFamily::kRatioAtHeight;
  double first = 0.0;
  double second = 0.0;  // 0 where the family has one number
  friend bool operator==(const RatioSymbol&, const RatioSymbol&) = default;
};

// Purpose   the canonical spelling, as parameter_names.h: "Rmr(0.5um)", "Rmr(5%,1.0um)", "Rmc(10%)",
//           "Rdc(2%,98%)".
std::string symbol_of(const RatioSymbol& symbol);

// Unit of its value: "%" or "um".
std::string_view unit_of(const RatioSymbol& symbol);

// Whether a name is meant as one of these: R, P or W, then mr, mc or dc, then nothing or a bracket; "Rmrk1"
// is not.
bool is_ratio_symbol(std::string_view written);

// Purpose   reads what a person writes: blanks anywhere, numbers with or without decimals or sign,
//           heights in um, nm or mm (micro sign as in UTF-8), "c0 = " and the like not.
// Errors    kInvalidConfig with a sentence: not such a symbol, no number, a unit missing or out of place,
//           a ratio outside of 0 to 100 %, ratios that do not rise, a negative depth (it counts into the
//           material). A decimal comma reads as two numbers and is refused by its missing unit.
base::Result<RatioSymbol> parse_ratio_symbol(std::string_view written);

}  // namespace crestgate::analysis
