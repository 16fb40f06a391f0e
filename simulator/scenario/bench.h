// SPDX-License-Identifier: Apache-2.0
#pragma once
// The bench of a scenario: which part lies there, which zone is under the stylus, what goes wrong.

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "simulator/link/traverse_source.h"
#include "simulator/scenario/armed_faults.h"
#include "simulator/scenario/scenario.h"
#include "simulator/stylus/stylus.h"

namespace crestgate::simulator {

// Threads  one; whoever steps the gauge also moves the parts.
class Bench : public TraverseSource {
 public:
  explicit Bench(Scenario scenario);

  // Puts a part down, its first zone under the stylus. Without a stage: the part's last one.
  // Errors  kNotFound: unknown part or stage. kBusy: another part lies there.
  base::Outcome place(const std::string& part, std::optional<std::uint16_t> stage);
  // Errors  kNotFound: the part has no such zone. kNoData: no part lies there.
  base::Outcome choose_zone(std::uint32_t zone);
  // Errors  kNoData: no part lies there.
  base::Outcome remove();

  void add_fault(const FaultPlan& plan) { faults_.add(plan); }
  void clear_faults() { faults_.clear(); }
  [[nodiscard]] std::size_t fault_count() const { return faults_.count(); }

  [[nodiscard]] const std::optional<Placement>& placement() const { return placement_; }
  [[nodiscard]] const Scenario& scenario() const { return scenario_; }

  TracedHeights traverse(const TraverseOrder& order) override;
  StillReading still(bool touching, std::uint16_t averaging_ms) override;
  [[nodiscard]] LineFaultSettings line_faults() const override;

 private:
  const Face& felt_face();
  [[nodiscard]] std::uint64_t zone_seed() const;
  [[nodiscard]] std::uint64_t placement_seed() const;
  // The alignment and the noise of the traverse that begins.
  Pass next_pass(const TraverseOrder& order);

  Scenario scenario_;
  ArmedFaults faults_;
  std::map<PartAtStage, std::uint32_t> attempts_;
  std::optional<Placement> placement_;
  std::map<std::uint32_t, Face> felt_;                  // faces of the placed part, by zone
  std::map<std::uint32_t, std::uint32_t> zone_passes_;  // traverses of each zone since the part was placed
  std::int32_t last_count_ = 0;
  std::vector<std::int32_t> last_counts_;  // what the gauge sent as its last traverse
  std::uint64_t traverses_ = 0;
  std::uint64_t still_readings_ = 0;
};

}  // namespace crestgate::simulator
