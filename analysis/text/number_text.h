// SPDX-License-Identifier: Apache-2.0
#pragma once
// How numbers are written in symbols and sentences; independent of any locale.

#include <string>

namespace crestgate::analysis {

// Shortest decimal that reads back as the same number.
std::string shortest(double value);
// The same with at least one decimal.
std::string with_decimal(double value);
// With so many decimals.
std::string fixed(double value, int decimals);

}  // namespace crestgate::analysis
