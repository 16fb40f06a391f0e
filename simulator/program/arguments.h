// SPDX-License-Identifier: Apache-2.0
#pragma once
// A reader for the few arguments of crestgate-sim.

#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace crestgate::simulator {

struct Arguments {
  std::vector<std::string> plain;
  std::map<std::string, std::string, std::less<>> options;  // "--out" -> "traces"
  bool help = false;

  [[nodiscard]] bool has(std::string_view option) const { return options.contains(option); }
};

// "--name value" and "--name=value"; "--help" and "-h" take no value.
// Errors  kInvalidConfig: an option that is not `known`, given twice, or without a value.
base::Result<Arguments> read_arguments(std::span<const std::string> words,
                                       std::span<const std::string_view> known);

// Errors  kInvalidConfig: the option's value is no number within the limits.
base::Result<double> number_option(const Arguments& arguments, std::string_view option, double lowest,
                                   double highest);
base::Result<std::uint64_t> whole_option(const Arguments& arguments, std::string_view option,
                                         std::uint64_t highest);

}  // namespace crestgate::simulator
