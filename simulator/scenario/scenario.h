// SPDX-License-Identifier: Apache-2.0
#pragma once
// A scenario: the gauge, the zones, the surfaces, the parts and what goes wrong. The language is described in
// simulator/SCENARIO.md.

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "simulator/link/gauge.h"
#include "simulator/link/line.h"
#include "simulator/scenario/fault_plan.h"
#include "simulator/scenario/placement.h"
#include "simulator/stylus/stylus.h"
#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

struct Zone {
  std::string name;
  double face_mm = 0.0;
};

using SurfaceByZone = std::map<std::uint32_t, std::string>;  // zone number -> surface name

struct Scenario {
  std::string source;  // file name without folders, for messages
  std::uint64_t seed = 1;
  double grid_um = 0.25;
  GaugeTraits gauge;
  StylusTraits stylus;
  LineOptions line;
  std::optional<std::uint64_t> boot;  // fixes the boot id; absent: every start of the program is another boot
  Varied tilt_um_per_mm;              // drawn at each placement
  Varied shift_mm;                    // drawn at each placement
  std::map<std::uint32_t, Zone> zones;
  std::map<std::string, SurfaceRecipe> surfaces;
  std::map<PartAtStage, SurfaceByZone> parts;
  std::vector<FaultPlan> faults;
};

// Errors  kInvalidConfig: "demo.scenario line 7: expected a number after 'height_um', found 'x'".
base::Result<Scenario> parse_scenario(std::string_view text, const std::string& source);

// Errors  as above; kNotFound and kIo when the file cannot be read.
base::Result<Scenario> read_scenario(const std::string& path);

}  // namespace crestgate::simulator
