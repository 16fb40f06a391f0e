// SPDX-License-Identifier: Apache-2.0
#include "simulator/program/arguments.h"

#include <algorithm>
#include <charconv>

#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

base::Error misuse(const std::string& what) { return {base::ErrorCode::kInvalidConfig, what}; }

template <class T>
bool reads_as(const std::string& text, T& value) {
  const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), value);
  return problem == std::errc() && end == text.data() + text.size();
}

}  // namespace

base::Result<Arguments> read_arguments(std::span<const std::string> words,
                                       std::span<const std::string_view> known) {
  Arguments arguments;
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::string& word = words[i];
    if (word == "--help" || word == "-h") {
      arguments.help = true;
      continue;
    }
    if (!word.starts_with("--")) {
      arguments.plain.push_back(word);
      continue;
    }
    const std::size_t equals = word.find('=');
    const std::string name = word.substr(0, equals);
    if (std::find(known.begin(), known.end(), name) == known.end()) {
      return misuse("unknown option '" + name + "', expected " + choice_of(known));
    }
    if (arguments.has(name)) return misuse("option '" + name + "' is given twice");
    if (equals != std::string::npos) {
      arguments.options[name] = word.substr(equals + 1);
    } else if (i + 1 < words.size()) {
      arguments.options[name] = words[++i];
    } else {
      return misuse("option '" + name + "' needs a value");
    }
  }
  return arguments;
}

base::Result<double> number_option(const Arguments& arguments, std::string_view option, double lowest,
                                   double highest) {
  const std::string& text = arguments.options.find(option)->second;
  double value = 0.0;
  if (reads_as(text, value) && value >= lowest && value <= highest) return value;
  return misuse("option '" + std::string(option) + "' expects a number within " + in_words(lowest) + " to " +
                in_words(highest) + ", found '" + text + "'");
}

base::Result<std::uint64_t> whole_option(const Arguments& arguments, std::string_view option,
                                         std::uint64_t highest) {
  const std::string& text = arguments.options.find(option)->second;
  std::uint64_t value = 0;
  if (reads_as(text, value) && value <= highest) return value;
  return misuse("option '" + std::string(option) + "' expects a whole number within 0 to " +
                std::to_string(highest) + ", found '" + text + "'");
}

}  // namespace crestgate::simulator
