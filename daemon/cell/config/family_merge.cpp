// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/family_merge.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/cell/config/limit_description.h"

namespace crestgate::cell {
namespace {

constexpr std::string_view kAbsent = "absent";

// Which lists have entries that are found by name.
enum class Level { kPlan, kZone, kLimit, kValue };

constexpr std::array<std::string_view, 1> kZoneNames = {"name"};
constexpr std::array<std::string_view, 3> kLimitNames = {"parameter", "reference_percent", "depth_um"};

// The keys that say which entry one is.
std::span<const std::string_view> naming_keys(Level level) {
  if (level == Level::kZone) return kZoneNames;
  if (level == Level::kLimit) return kLimitNames;
  return {};
}

// What a member of a table is: a list of zones, of limits, or a value.
Level level_of(std::string_view key, Level table) {
  if (table == Level::kPlan && key == "zone") return Level::kZone;
  if (table == Level::kZone && key == "limit") return Level::kLimit;
  return Level::kValue;
}

bool is_one_of(std::string_view key, std::span<const std::string_view> keys) {
  return std::ranges::find(keys, key) != keys.end();
}

bool is_dropped_whole(const Node& entry) {
  const Node* absent = member_of(entry, kAbsent);
  const bool* truth = absent != nullptr ? std::get_if<bool>(&absent->value) : nullptr;
  return truth != nullptr && *truth;
}

class Merging {
 public:
  Merging(const Node& plan, const Node& family, Complaints& complaints)
      : plan_{.source = plan.place.source}, family_{.source = family.place.source}, complaints_(complaints) {}

  Node tables(const Node& plan, const Node& family, Level level) {
    const auto& of_plan = std::get<Node::Table>(plan.value);
    const std::vector<std::string> dropped = dropped_keys(plan, family);
    const auto is_dropped = [&dropped](std::string_view key) {
      return std::ranges::find(dropped, key) != dropped.end();
    };
    Node::Table members;
    for (const Member& member : of_plan) {
      if (member.key == kAbsent) continue;
      const Node* other = is_dropped(member.key) ? nullptr : member_of(family, member.key);
      const Level below = level_of(member.key, level);
      members.push_back({member.key, other != nullptr ? values(member.node, *other, below, member.key)
                                                      : alone(member.node, below, family_)});
    }
    for (const Member& member : std::get<Node::Table>(family.value)) {
      if (member_of(plan, member.key) != nullptr || is_dropped(member.key)) continue;
      if (is_one_of(member.key, naming_keys(level))) continue;  // the plan spells the name
      members.push_back({member.key, alone(member.node, level_of(member.key, level), plan_)});
    }
    Node merged{.value = std::move(members), .place = plan.place, .label = plan.label};
    merged.elsewhere = family.place;
    return merged;
  }

 private:
  // What only one of the files has; the other one could have had it.
  Node alone(const Node& node, Level level, const Place& other) {
    Node copy = node;
    if (auto* members = std::get_if<Node::Table>(&copy.value)) {
      copy.elsewhere = other;
      for (Member& member : *members) member.node = alone(member.node, level_of(member.key, level), other);
      const Node* absent = member_of(copy, kAbsent);
      if (absent != nullptr && other.source == family_.source) {
        complaints_.at(absent->place, "absent: the family gives nothing here that could be dropped");
      }
    } else if (auto* elements = std::get_if<Node::Array>(&copy.value)) {
      for (Node& element : *elements) element = alone(element, level, other);
    }
    return copy;
  }

  Node values(const Node& plan, const Node& family, Level level, const std::string& key) {
    if (std::holds_alternative<Node::Table>(plan.value) &&
        std::holds_alternative<Node::Table>(family.value)) {
      return tables(plan, family, level);
    }
    if (level == Level::kValue) return alone(plan, level, family_);
    for (const Node* list : {&family, &plan}) {
      if (std::holds_alternative<Node::Array>(list->value)) continue;
      std::string what = key;
      what.append(": expected a list of tables, written [[").append(key).append("]]");
      complaints_.at(list->place, what);
      return plan;
    }
    return entries(plan, family, level, key);
  }

  std::vector<std::string> dropped_keys(const Node& plan, const Node& family) {
    std::vector<std::string> keys;
    const Node* absent = member_of(plan, kAbsent);
    if (absent == nullptr) return keys;
    const auto* list = std::get_if<Node::Array>(&absent->value);
    if (list == nullptr) {
      complaints_.at(absent->place, "absent: expected a list of keys that the family gives here");
      return keys;
    }
    for (const Node& element : *list) {
      const auto* key = std::get_if<std::string>(&element.value);
      if (key == nullptr || member_of(family, *key) == nullptr) {
        complaints_.at(element.place, "absent: the family gives no '" + (key != nullptr ? *key : "?") +
                                          "' here that could be dropped");
        continue;
      }
      keys.push_back(*key);
    }
    return keys;
  }

  // The name of each entry; "" after a complaint.
  std::vector<std::string> names(const Node& list, Level level, const std::string& key) {
    std::vector<std::string> found;
    const auto& elements = std::get<Node::Array>(list.value);
    for (std::size_t i = 0; i < elements.size(); ++i) {
      TableReader entry(elements[i], key + "[" + std::to_string(i + 1) + "]", complaints_);
      std::string name = level == Level::kZone ? entry.text("name") : read_limit_symbol(entry);
      if (level == Level::kZone && std::ranges::find(found, name) != found.end()) {
        entry.complain("name", "a zone of this name stands above already");
      }
      found.push_back(std::move(name));
    }
    return found;
  }

  Node entries(const Node& plan, const Node& family, Level level, const std::string& key) {
    const auto& of_plan = std::get<Node::Array>(plan.value);
    const auto& of_family = std::get<Node::Array>(family.value);
    const std::vector<std::string> family_names = names(family, level, key);
    const std::vector<std::string> plan_names = names(plan, level, key);
    if (complaints_.first()) return plan;
    Node::Array merged;
    for (std::size_t i = 0; i < of_family.size(); ++i) {
      const auto found = std::ranges::find(plan_names, family_names[i]);
      if (found == plan_names.end()) {
        merged.push_back(labelled(alone(of_family[i], level, plan_), key, family_names[i]));
        continue;
      }
      const Node& own = of_plan[static_cast<std::size_t>(found - plan_names.begin())];
      if (is_dropped_whole(own)) {
        check_says_nothing_else(own, level);
        continue;
      }
      check_is_clear(own, *found, {plan_names, family_names}, key);
      merged.push_back(labelled(tables(own, of_family[i], level), key, *found));
    }
    for (std::size_t i = 0; i < of_plan.size(); ++i) {
      if (std::ranges::find(family_names, plan_names[i]) != family_names.end()) continue;
      merged.push_back(labelled(alone(of_plan[i], level, family_), key, plan_names[i]));
    }
    return Node{.value = std::move(merged), .place = plan.place};
  }

  static Node labelled(Node entry, const std::string& key, const std::string& name) {
    entry.label = key + " '" + name + "'";
    return entry;
  }

  void check_says_nothing_else(const Node& entry, Level level) {
    for (const Member& member : std::get<Node::Table>(entry.value)) {
      if (member.key == kAbsent || is_one_of(member.key, naming_keys(level))) continue;
      complaints_.at(member.node.place, member.key + ": what is absent says nothing else");
    }
  }

  struct Names {
    const std::vector<std::string>& plan;
    const std::vector<std::string>& family;
  };

  // One limit may be held by two rules: then nobody knows which of them the plan changes.
  void check_is_clear(const Node& own, const std::string& name, const Names& all, const std::string& key) {
    const auto of_plan = std::ranges::count(all.plan, name);
    const auto of_family = std::ranges::count(all.family, name);
    if (of_plan <= 1 && of_family <= 1) return;
    complaints_.at(own.place, key + " '" + name + "': stands " + std::to_string(of_plan) +
                                  (of_plan == 1 ? " time" : " times") + " in the plan and " +
                                  std::to_string(of_family) + (of_family == 1 ? " time" : " times") +
                                  " in the family: expected once each");
  }

  Place plan_;
  Place family_;
  Complaints& complaints_;
};

void refuse_absent(const Node& family, Complaints& complaints) {
  if (const auto* members = std::get_if<Node::Table>(&family.value)) {
    for (const Member& member : *members) {
      if (member.key == kAbsent) {
        complaints.at(member.node.place, "absent: only a plan drops what its family gives");
      }
      refuse_absent(member.node, complaints);
    }
  } else if (const auto* elements = std::get_if<Node::Array>(&family.value)) {
    for (const Node& element : *elements) refuse_absent(element, complaints);
  }
}

}  // namespace

Node merge_family(const Node& plan, const Node& family, Complaints& complaints) {
  refuse_absent(family, complaints);
  Merging merging(plan, family, complaints);
  Node merged = merging.tables(plan, family, Level::kPlan);
  // The roots begin on line 1 of their files, which helps nobody.
  merged.elsewhere = Place{.source = family.place.source};
  return merged;
}

}  // namespace crestgate::cell
