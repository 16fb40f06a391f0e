// SPDX-License-Identifier: Apache-2.0
#pragma once
// A family, a plan that takes everything from it, and how they are read together.

#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell::families {

inline const char* const kFamily = R"(format = 1
part = "shaft"
part_id = "required"
attempts_allowed = 3
on_reject = "rework"
on_none = "measure again"
[[zone]]
name = "crest A"
face_length_mm = 8.0
traverses = 1
traverse = {length_mm = 5.6, spacing_um = 0.5, speed_mm_per_s = 1.0}
texture = {setting_class = "Sc3", filter = "gaussian", form = "line"}
waves = {shortest_mm = 0.5, longest_mm = 2.8}
  [[zone.limit]]
  parameter = "Ra"
  unit = "um"
  upper = 0.25
  rule = "Tmax"
  [[zone.limit]]
  parameter = "Rmr"
  reference_percent = 5
  depth_um = 0.4
  unit = "%"
  lower = 55
  rule = "Tmax"
[[zone]]
name = "crest B"
face_length_mm = 8.0
traverses = 2
traverse = {length_mm = 5.6, spacing_um = 0.5, speed_mm_per_s = 1.0}
texture = {setting_class = "Sc3", filter = "gaussian", form = "line"}
  [[zone.limit]]
  parameter = "Rz"
  unit = "um"
  upper = 2.0
  rule = "Tmax"
)";

inline const char* const kPlan = R"(format = 1
family = "family.toml"
name = "P"
stage = {number = 2, name = "finished"}
)";

inline base::Result<PlanDescription> read(const std::string& plan, const std::string& family = kFamily) {
  return read_plan_with_family({.text = plan, .source = "lines/plan.toml"},
                               {.text = family, .source = "lines/family.toml"});
}

inline PlanDescription good(const std::string& plan, const std::string& family = kFamily) {
  auto found = read(plan, family);
  EXPECT_TRUE(found.has_value()) << found.error().detail;
  return found ? *found : PlanDescription{};
}

inline std::string complaint(const std::string& plan, const std::string& family = kFamily) {
  const auto found = read(plan, family);
  EXPECT_FALSE(found.has_value()) << "accepted: " << plan;
  return found ? "" : found.error().detail;
}

inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

}  // namespace crestgate::cell::families
