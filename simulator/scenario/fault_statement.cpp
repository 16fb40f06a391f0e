// SPDX-License-Identifier: Apache-2.0
// The fault statement of the scenario language, which the control port speaks too.

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>
#include <limits>

#include "simulator/scenario/fault_plan.h"
#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

using Kind = FaultPlan::Kind;

constexpr std::uint64_t kMostU32 = std::numeric_limits<std::uint32_t>::max();
constexpr std::uint64_t kMostU16 = std::numeric_limits<std::uint16_t>::max();

struct FaultRule {
  std::string_view name;
  Kind kind;
  std::vector<std::string_view> keys;  // of its own
  std::int64_t for_ms = 0;             // unless stated
};

std::vector<FaultRule> fault_rules() {
  return {{"flip_bit", Kind::kFlipBit, {"probability", "direction", "after"}},
          {"drop_byte", Kind::kDropByte, {"probability", "direction", "after"}},
          {"duplicate_frame", Kind::kDuplicateFrame, {"probability", "after"}},
          {"swap_frames", Kind::kSwapFrames, {"probability", "after"}},
          {"truncate_frame", Kind::kTruncateFrame, {"probability", "after"}},
          {"slow_bytes", Kind::kSlowBytes, {"after", "for_s", "bytes_per_s"}, 5000},
          {"stall", Kind::kStall, {"after"}},
          {"silent", Kind::kSilent, {"after", "for_s"}},
          {"hang", Kind::kHang, {"after", "for_s"}, 5000},
          {"restart", Kind::kRestart, {"after"}},
          {"reset_in_reply", Kind::kResetInReply, {"after"}},
          {"disconnect", Kind::kDisconnect, {"after", "for_s", "device", "link"}},
          {"drive_blocked", Kind::kDriveBlocked, {"after", "for_s"}},
          {"stale_repeat", Kind::kStaleRepeat, {"id"}},
          {"over_range", Kind::kOverRange, {"after", "samples", "noticed"}},
          {"stuck_stylus", Kind::kStuckStylus, {"after", "noise_um"}},
          {"lift_off", Kind::kLiftOff, {"after", "samples", "height_um", "noticed"}},
          {"gain_drift", Kind::kGainDrift, {"percent", "percent_per_s"}},
          {"vibration", Kind::kVibration, {"amplitude_um", "wavelength_mm", "noticed"}},
          {"stylus_lifted", Kind::kStylusLifted, {}},
          {"speed_unsteady", Kind::kSpeedUnsteady, {}}};
}

template <class T>
base::Outcome whole_into(Words& words, std::uint64_t highest, T& target) {
  const auto value = words.whole_number(highest);
  if (!value) return value.error();
  target = static_cast<std::uint32_t>(*value);
  return base::Done{};
}

// Of two words: sets `second` to whether it was the second.
base::Outcome either_into(Words& words, std::array<std::string_view, 2> choices, bool& second) {
  const auto index = words.one_of(choices);
  if (!index) return index.error();
  second = *index == 1;
  return base::Done{};
}

base::Outcome condition_value(Words& words, std::string_view key, FaultPlan& plan) {
  if (key == "stage") return whole_into(words, kMostU16, plan.stage);
  if (key == "attempt") return whole_into(words, kMostU32, plan.attempt);
  if (key == "zone") return whole_into(words, kMostU32, plan.zone);
  if (key == "times") return whole_into(words, kMostU32, plan.times);
  auto part = words.word("a part");
  if (!part) return part.error();
  plan.part = *part;
  return base::Done{};
}

base::Outcome line_value(Words& words, std::string_view key, FaultPlan& plan) {
  if (key == "probability") {
    double value = 0.0;
    if (auto read = words.number_into({0.0, 1.0}, value); !read) return read.error();
    plan.probability = value;
    return base::Done{};
  }
  if (key == "direction") {
    bool to_gauge = false;
    if (auto read = either_into(words, {"to_host", "to_gauge"}, to_gauge); !read) return read;
    plan.direction = to_gauge ? Direction::kToGauge : Direction::kToHost;
    return base::Done{};
  }
  if (key == "bytes_per_s") {
    double value = 0.0;
    if (auto read = words.number_into({1.0, 10'000'000.0}, value); !read) return read.error();
    plan.bytes_per_s = static_cast<std::uint32_t>(std::lround(value));
    return base::Done{};
  }
  if (key == "device") return either_into(words, {"same", "other"}, plan.replug.other_device);
  bool other = false;  // link
  if (auto read = either_into(words, {"same", "other"}, other); !read) return read;
  if (!other) return base::Done{};
  auto path = words.word("the path of the link");
  if (!path) return path.error();
  plan.replug.link_path = *path;
  return base::Done{};
}

base::Outcome stylus_value(Words& words, std::string_view key, FaultPlan& plan) {
  if (key == "samples") return whole_into(words, kMostU32, plan.samples);
  if (key == "noise_um") return words.number_into({0.0, 10.0}, plan.noise_um);
  if (key == "height_um") return words.number_into({0.0, 1000.0}, plan.height_um);
  if (key == "percent") return words.number_into({-50.0, 50.0}, plan.percent);
  if (key == "percent_per_s") return words.number_into({-50.0, 50.0}, plan.percent_per_s);
  if (key == "amplitude_um") return words.number_into({0.0, 1000.0}, plan.amplitude_um);
  if (key == "wavelength_mm") return words.number_into({0.0001, 1000.0}, plan.wavelength_mm);
  bool no = false;  // noticed
  if (auto read = either_into(words, {"yes", "no"}, no); !read) return read;
  plan.noticed = !no;
  return base::Done{};
}

bool is_one_of(std::string_view key, std::initializer_list<std::string_view> keys) {
  return std::find(keys.begin(), keys.end(), key) != keys.end();
}

base::Outcome value_of_key(Words& words, std::string_view key, FaultPlan& plan) {
  if (is_one_of(key, {"part", "stage", "attempt", "zone", "times"})) return condition_value(words, key, plan);
  if (is_one_of(key, {"probability", "direction", "bytes_per_s", "device", "link"})) {
    return line_value(words, key, plan);
  }
  if (key == "after") return whole_into(words, kMostU32, plan.after_samples);
  if (key == "id") return either_into(words, {"new", "old"}, plan.under_old_id);
  if (key != "for_s") return stylus_value(words, key, plan);
  double seconds = 0.0;
  if (auto read = words.number_into({0.001, 86'400.0}, seconds); !read) return read.error();
  plan.for_ms = std::llround(1000.0 * seconds);
  return base::Done{};
}

}  // namespace

base::Result<FaultPlan> parse_fault(std::string_view text, const std::string& where) {
  Words words(text, where);
  const std::vector<FaultRule> rules = fault_rules();
  std::vector<std::string_view> names;
  names.reserve(rules.size());
  for (const FaultRule& rule : rules) names.push_back(rule.name);
  const auto kind = words.one_of(names);
  if (!kind) return kind.error();
  const FaultRule& rule = rules[*kind];
  FaultPlan plan;
  plan.kind = rule.kind;
  plan.for_ms = rule.for_ms;
  std::vector<std::string_view> left = {"part", "stage", "attempt", "zone", "times"};
  left.insert(left.end(), rule.keys.begin(), rule.keys.end());
  bool times_given = false;
  while (!words.at_end()) {
    const auto index = words.one_of(left);
    if (!index) return index.error();
    const std::string_view key = left[*index];
    times_given = times_given || key == "times";
    if (auto read = value_of_key(words, key, plan); !read) return read.error();
    left.erase(left.begin() + static_cast<std::ptrdiff_t>(*index));
  }
  if (plan.probability && plan.after_samples) {
    return words.error("'probability' damages all along and 'after' at one place: give one of them");
  }
  if (plan.direction && !plan.probability) return words.error("'direction' needs 'probability'");
  if (plan.probability && !times_given) plan.times = 0;
  return plan;
}

}  // namespace crestgate::simulator
