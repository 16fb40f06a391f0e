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
#include "simulator/link/line_fault.h"
#include "simulator/stylus/stylus.h"
#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

struct Zone {
  std::string name;
  double face_mm = 0.0;
};

// A part at a stage of its process; the stage is 0 where the scenario names none.
struct PartAtStage {
  std::string part;
  std::uint16_t stage = 0;
  // NOLINTNEXTLINE(modernize-use-nullptr): the check of clang-tidy 14 misreads the defaulted comparison
  friend auto operator<=>(const PartAtStage&, const PartAtStage&) = default;
};

using SurfaceByZone = std::map<std::uint32_t, std::string>;  // zone number -> surface name

// One thing that goes wrong, and when.
struct FaultPlan {
  enum class Kind {
    kFlipBit,
    kDropByte,
    kStall,
    kSilent,
    kRestart,
    kDisconnect,
    kDriveBlocked,
    kStylusLifted,
    kSpeedUnsteady,
    kVibration,
  };
  Kind kind = Kind::kStall;
  double probability = 0.0;                    // kFlipBit, kDropByte: per byte
  std::optional<Direction> direction;          // kFlipBit, kDropByte; absent: both
  std::optional<std::uint32_t> after_samples;  // of a traverse; absent: half of it
  std::int64_t for_ms = 0;                     // 0: for ever
  std::uint32_t times = 1;                     // traverses it happens in; 0: in every one
  std::optional<std::string> part;             // absent: any
  std::optional<std::uint32_t> stage;
  std::optional<std::uint32_t> attempt;
  std::optional<std::uint32_t> zone;
};

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

// The words of a fault statement after 'fault'; `where` begins every error's text.
base::Result<FaultPlan> parse_fault(std::string_view words, const std::string& where);

}  // namespace crestgate::simulator
