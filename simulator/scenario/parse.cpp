// SPDX-License-Identifier: Apache-2.0
// The scenario language; simulator/SCENARIO.md describes it.

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <limits>
#include <sstream>

#include "simulator/scenario/gauge_statement.h"
#include "simulator/scenario/scenario.h"
#include "simulator/scenario/surface_statement.h"
#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

constexpr std::uint64_t kLanguageVersion = 1;
constexpr std::uint64_t kMostZones = 99;
constexpr std::uint64_t kMostParts = 100'000;

class Parser {
 public:
  explicit Parser(const std::string& source) { scenario_.source = source; }

  base::Outcome statement(std::string_view line, std::size_t line_number) {
    where_ = scenario_.source + " line " + std::to_string(line_number);
    Words words(line, where_);
    if (words.at_end()) return base::Done{};
    if (!version_seen_) return version(words);
    constexpr std::array<std::string_view, 7> kStatements = {"seed",    "grid_um", "gauge", "zone",
                                                             "surface", "part",    "fault"};
    const auto index = words.one_of(kStatements);
    if (!index) return index.error();
    base::Outcome done = dispatch(*index, words, line);
    if (!done) return done;
    return *index == kFaultIndex ? done : words.end();
  }

  base::Result<Scenario> finish() {
    const std::string& source = scenario_.source;
    const auto refuse = [&source](const std::string& what) {
      return base::Error{base::ErrorCode::kInvalidConfig, source + ": " + what};
    };
    if (!version_seen_) return refuse("expected the statement 'scenario 1' first, found an empty file");
    if (scenario_.parts.empty()) return refuse("expected at least one 'part' statement, found none");
    scenario_.gauge.boot_seed = scenario_.boot.value_or(scenario_.seed);
    scenario_.line.seed = scenario_.seed;
    return std::move(scenario_);
  }

 private:
  static constexpr std::size_t kFaultIndex = 6;

  base::Outcome version(Words& words) {
    constexpr std::array<std::string_view, 1> kFirst = {"scenario"};
    if (auto first = words.one_of(kFirst); !first) return first.error();
    const auto version = words.whole_number(std::numeric_limits<std::uint16_t>::max());
    if (!version) return version.error();
    if (*version != kLanguageVersion) {
      return words.error("expected version 1 of the language, found " + std::to_string(*version));
    }
    version_seen_ = true;
    return words.end();
  }

  base::Outcome dispatch(std::size_t statement, Words& words, std::string_view line) {
    switch (statement) {
      case 0:
        return seed(words);
      case 1:
        return words.number_into({0.01, 10.0}, scenario_.grid_um);
      case 2:
        return parse_gauge(words, scenario_);
      case 3:
        return zone(words);
      case 4:
        return surface(words);
      case 5:
        return part(words);
      default:
        return fault(line);
    }
  }

  base::Outcome seed(Words& words) {
    const auto value = words.whole_number(std::numeric_limits<std::uint64_t>::max());
    if (!value) return value.error();
    scenario_.seed = *value;
    return base::Done{};
  }

  base::Outcome zone(Words& words) {
    const auto number = words.whole_number(kMostZones);
    if (!number) return number.error();
    const auto key = static_cast<std::uint32_t>(*number);
    if (key == 0) return words.error("zones are counted from 1, found 0");
    if (scenario_.zones.contains(key)) return words.error("zone " + std::to_string(key) + " is given twice");
    Zone zone;
    if (auto read = words.name_into(zone.name); !read) return read;
    constexpr std::array<Key, 1> kKeys = {Key{"face_mm", true, {0.1, 1000.0}}};
    const auto values = words.keys("zone", kKeys);
    if (!values) return values.error();
    zone.face_mm = values->at("face_mm").mean;
    scenario_.zones[key] = zone;
    return base::Done{};
  }

  base::Outcome surface(Words& words) {
    std::string name;
    if (auto read = words.name_into(name); !read) return read;
    SurfaceRecipe& recipe = scenario_.surfaces[name];
    if (words.peek() != "from") {
      auto step = parse_step(words);
      if (!step) return step.error();
      recipe.push_back(*step);
      return base::Done{};
    }
    static_cast<void>(words.word("from"));
    if (!recipe.empty()) return words.error("'from' must be the first statement of surface '" + name + "'");
    const auto other = scenario_.surfaces.find(std::string(words.peek()));
    if (other == scenario_.surfaces.end() || other->second.empty()) {
      return words.expected("the name of an earlier surface");
    }
    recipe = other->second;
    static_cast<void>(words.word("a surface"));
    return base::Done{};
  }

  base::Outcome part(Words& words) {
    std::string names;
    if (auto read = words.name_into(names); !read) return read;
    const auto all = part_names(names, words);
    if (!all) return all.error();
    std::uint64_t stage = 0;
    if (words.peek() == "stage") {
      static_cast<void>(words.word("stage"));
      const auto number = words.whole_number(std::numeric_limits<std::uint16_t>::max());
      if (!number) return number.error();
      stage = *number;
    }
    constexpr std::array<std::string_view, 1> kZone = {"zone"};
    if (auto next = words.one_of(kZone); !next) return next.error();
    const auto zones = zone_list(words);
    if (!zones) return zones.error();
    if (!scenario_.surfaces.contains(std::string(words.peek()))) {
      return words.expected("the name of an earlier surface");
    }
    const auto surface = words.word("a surface");
    for (const std::string& name : *all) {
      SurfaceByZone& by_zone = scenario_.parts[{name, static_cast<std::uint16_t>(stage)}];
      for (const std::uint32_t zone : *zones) {
        if (by_zone.contains(zone)) {
          return words.error("zone " + std::to_string(zone) + " of part '" + name +
                             "' has a surface already");
        }
        by_zone[zone] = *surface;
      }
    }
    if (scenario_.parts.size() <= kMostParts) return base::Done{};
    return words.error("a scenario holds at most " + std::to_string(kMostParts) + " parts");
  }

  // "ES-2041" or "ES-2041..ES-2050": equal letters, then as many digits.
  static base::Result<std::vector<std::string>> part_names(const std::string& text, const Words& words) {
    constexpr std::string_view kTo = "..";
    const std::size_t dots = text.find(kTo);
    if (dots == std::string::npos) return std::vector<std::string>{text};
    const std::string first = text.substr(0, dots);
    const std::string last = text.substr(dots + kTo.size());
    const std::size_t digits_at = first.find_last_not_of("0123456789") + 1;
    std::uint64_t from = 0;
    std::uint64_t to = 0;
    const bool alike = first.size() == last.size() && digits_at < first.size() &&
                       first.compare(0, digits_at, last, 0, digits_at) == 0;
    const auto read = [digits_at](const std::string& name, std::uint64_t& value) {
      const char* const end = name.data() + name.size();
      const auto result = std::from_chars(name.data() + digits_at, end, value);
      return result.ec == std::errc() && result.ptr == end;
    };
    if (!alike || !read(first, from) || !read(last, to) || to < from || to - from >= kMostParts) {
      return words.error("expected a range like 'ES-2041..ES-2050', found '" + text + "'");
    }
    std::vector<std::string> names;
    for (std::uint64_t n = from; n <= to; ++n) {
      std::string digits = std::to_string(n);
      digits.insert(0, first.size() - digits_at - digits.size(), '0');
      names.push_back(first.substr(0, digits_at) + digits);
    }
    return names;
  }

  base::Result<std::vector<std::uint32_t>> zone_list(Words& words) {
    const std::string found(words.peek());
    const base::Error wrong = words.expected("the numbers of zones like '1' or '1,2'");
    std::vector<std::uint32_t> zones;
    std::istringstream rest(found);
    for (std::string item; std::getline(rest, item, ',');) {
      std::uint32_t number = 0;
      const auto result = std::from_chars(item.data(), item.data() + item.size(), number);
      if (item.empty() || result.ec != std::errc() || result.ptr != item.data() + item.size()) return wrong;
      if (!scenario_.zones.contains(number)) {
        return words.error("zone " + std::to_string(number) +
                           " is not described by an earlier 'zone' statement");
      }
      zones.push_back(number);
    }
    if (zones.empty() || found.back() == ',') return wrong;
    static_cast<void>(words.word("zones"));
    return zones;
  }

  base::Outcome fault(std::string_view line) {
    const auto plan = parse_fault(line.substr(line.find("fault") + 5), where_);
    if (!plan) return plan.error();
    const auto refuse = [this](const std::string& what) {
      return base::Error{base::ErrorCode::kInvalidConfig, where_ + ": " + what};
    };
    if (plan->zone && !scenario_.zones.contains(*plan->zone)) {
      return refuse("zone " + std::to_string(*plan->zone) +
                    " is not described by an earlier 'zone' statement");
    }
    const auto is_part = [&plan](const auto& entry) { return entry.first.part == *plan->part; };
    if (plan->part && std::none_of(scenario_.parts.begin(), scenario_.parts.end(), is_part)) {
      return refuse("part '" + *plan->part + "' has no earlier 'part' statement");
    }
    scenario_.faults.push_back(*plan);
    return base::Done{};
  }

  Scenario scenario_;
  std::string where_;
  bool version_seen_ = false;
};

}  // namespace

base::Result<Scenario> parse_scenario(std::string_view text, const std::string& source) {
  Parser parser(source);
  std::size_t line_number = 0;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    ++line_number;
    if (auto read = parser.statement(text.substr(0, end), line_number); !read) return read.error();
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return parser.finish();
}

base::Result<Scenario> read_scenario(const std::string& path) {
  std::error_code problem;
  if (!std::filesystem::is_regular_file(path, problem)) {
    return base::Error{base::ErrorCode::kNotFound, path + ": expected a scenario file, found none"};
  }
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  if (!file || !text) return base::Error{base::ErrorCode::kIo, path + ": cannot be read"};
  return parse_scenario(text.str(), std::filesystem::path(path).filename().string());
}

}  // namespace crestgate::simulator
