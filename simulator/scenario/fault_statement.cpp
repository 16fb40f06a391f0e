// SPDX-License-Identifier: Apache-2.0
// The fault statement of the scenario language, which the control port speaks too.

#include <array>
#include <cmath>
#include <limits>

#include "simulator/scenario/scenario.h"
#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

using Kind = FaultPlan::Kind;

constexpr std::array<std::string_view, 10> kKindNames = {
    "flip_bit",   "drop_byte",     "stall",         "silent",         "restart",
    "disconnect", "drive_blocked", "stylus_lifted", "speed_unsteady", "vibration"};
constexpr std::array<Kind, kKindNames.size()> kKinds = {
    Kind::kFlipBit,    Kind::kDropByte,     Kind::kStall,        Kind::kSilent,        Kind::kRestart,
    Kind::kDisconnect, Kind::kDriveBlocked, Kind::kStylusLifted, Kind::kSpeedUnsteady, Kind::kVibration};

constexpr std::uint64_t kMostU32 = std::numeric_limits<std::uint32_t>::max();
constexpr std::uint64_t kMostU16 = std::numeric_limits<std::uint16_t>::max();

bool damages_bytes(Kind kind) { return kind == Kind::kFlipBit || kind == Kind::kDropByte; }
bool is_quality(Kind kind) {
  return kind == Kind::kStylusLifted || kind == Kind::kSpeedUnsteady || kind == Kind::kVibration;
}

std::vector<std::string_view> keys_of(Kind kind) {
  std::vector<std::string_view> keys = {"part", "stage", "attempt", "zone"};
  if (damages_bytes(kind)) {
    keys.insert(keys.begin(), {"probability", "direction"});
    return keys;
  }
  keys.emplace_back("times");
  if (!is_quality(kind)) keys.emplace_back("after");
  if (kind == Kind::kSilent || kind == Kind::kDisconnect || kind == Kind::kDriveBlocked)
    keys.emplace_back("for_s");
  return keys;
}

template <class T>
base::Outcome whole_into(Words& words, std::uint64_t highest, T& target) {
  const auto value = words.whole_number(highest);
  if (!value) return value.error();
  target = static_cast<std::uint32_t>(*value);
  return base::Done{};
}

base::Outcome direction_into(Words& words, std::optional<Direction>& target) {
  constexpr std::array<std::string_view, 2> kNames = {"to_host", "to_gauge"};
  const auto index = words.one_of(kNames);
  if (!index) return index.error();
  target = *index == 0 ? Direction::kToHost : Direction::kToGauge;
  return base::Done{};
}

base::Outcome value_of_key(Words& words, std::string_view key, FaultPlan& plan) {
  if (key == "probability") return words.number_into({0.0, 1.0}, plan.probability);
  if (key == "direction") return direction_into(words, plan.direction);
  if (key == "times") return whole_into(words, kMostU32, plan.times);
  if (key == "after") return whole_into(words, kMostU32, plan.after_samples);
  if (key == "stage") return whole_into(words, kMostU16, plan.stage);
  if (key == "attempt") return whole_into(words, kMostU32, plan.attempt);
  if (key == "zone") return whole_into(words, kMostU32, plan.zone);
  if (key == "for_s") {
    double seconds = 0.0;
    if (auto read = words.number_into({0.001, 86'400.0}, seconds); !read) return read.error();
    plan.for_ms = std::llround(1000.0 * seconds);
    return base::Done{};
  }
  auto part = words.word("a part");
  if (!part) return part.error();
  plan.part = *part;
  return base::Done{};
}

}  // namespace

base::Result<FaultPlan> parse_fault(std::string_view text, const std::string& where) {
  Words words(text, where);
  const auto kind = words.one_of(kKindNames);
  if (!kind) return kind.error();
  FaultPlan plan;
  plan.kind = kKinds[*kind];
  std::vector<std::string_view> left = keys_of(plan.kind);
  bool probability_given = false;
  while (!words.at_end()) {
    const auto index = words.one_of(left);
    if (!index) return index.error();
    const std::string_view key = left[*index];
    probability_given = probability_given || key == "probability";
    if (auto read = value_of_key(words, key, plan); !read) return read.error();
    left.erase(left.begin() + static_cast<std::ptrdiff_t>(*index));
  }
  if (damages_bytes(plan.kind) && !probability_given) {
    return words.error("'" + std::string(kKindNames[*kind]) + "' needs 'probability'");
  }
  return plan;
}

}  // namespace crestgate::simulator
