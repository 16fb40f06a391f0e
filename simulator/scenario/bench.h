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
#include "simulator/scenario/scenario.h"

namespace crestgate::simulator {

struct Placement {
  PartAtStage part;
  std::uint32_t attempt = 0;  // n-th time that this part was placed at this stage, from 1
  std::uint32_t zone = 0;
  std::uint32_t traverses = 0;  // of this zone since the part was placed
};

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

  void add_fault(const FaultPlan& plan);
  void clear_faults() { faults_.clear(); }
  [[nodiscard]] std::size_t fault_count() const { return faults_.size(); }

  [[nodiscard]] const std::optional<Placement>& placement() const { return placement_; }
  [[nodiscard]] const Scenario& scenario() const { return scenario_; }

  TracedHeights traverse(const TraverseOrder& order) override;
  StillReading still(bool touching, std::uint16_t averaging_ms) override;
  [[nodiscard]] LineFaultSettings line_faults() const override;

 private:
  struct ArmedFault {
    FaultPlan plan;
    std::uint32_t happened = 0;
  };

  [[nodiscard]] bool applies(const FaultPlan& plan) const;
  const Face& felt_face();
  [[nodiscard]] std::uint64_t zone_seed() const;
  [[nodiscard]] std::uint64_t placement_seed() const;
  void add_faults_to(TracedHeights& traced);

  Scenario scenario_;
  std::vector<ArmedFault> faults_;
  std::map<PartAtStage, std::uint32_t> attempts_;
  std::optional<Placement> placement_;
  std::map<std::uint32_t, Face> felt_;                  // faces of the placed part, by zone
  std::map<std::uint32_t, std::uint32_t> zone_passes_;  // traverses of each zone since the part was placed
  std::int32_t last_count_ = 0;
  std::uint64_t still_readings_ = 0;
};

}  // namespace crestgate::simulator
