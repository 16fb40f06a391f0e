// SPDX-License-Identifier: Apache-2.0
#pragma once
// Material ratios as a test writes them.

#include <initializer_list>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/texture/ratio_symbol.h"

namespace crestgate::analysis {

inline std::vector<RatioSymbol> ratios(std::initializer_list<std::string_view> symbols) {
  std::vector<RatioSymbol> read;
  for (const std::string_view symbol : symbols) {
    const auto ratio = parse_ratio_symbol(symbol);
    EXPECT_TRUE(ratio.has_value()) << symbol;
    if (ratio) read.push_back(*ratio);
  }
  return read;
}

}  // namespace crestgate::analysis
