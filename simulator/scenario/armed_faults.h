// SPDX-License-Identifier: Apache-2.0
#pragma once
// The faults that wait for their moment.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "simulator/scenario/fault_plan.h"
#include "simulator/scenario/placement.h"

namespace crestgate::simulator {

// One that happens in the traverse that begins.
struct DueFault {
  FaultPlan plan;
  std::uint32_t nth = 1;        // time that it happens
  double moved_before_s = 0.0;  // the stylus moved that long in the times before
};

struct TraverseMoment {
  double duration_s = 0.0;
  bool has_previous = false;  // another traverse's heights are still in the gauge
};

class ArmedFaults {
 public:
  void add(const FaultPlan& plan) { faults_.push_back({.plan = plan}); }
  void clear() { faults_.clear(); }
  [[nodiscard]] std::size_t count() const { return faults_.size(); }

  // A traverse begins: what happens in it, in the order in which it was added. Counts it as happened.
  std::vector<DueFault> begin_traverse(const std::optional<Placement>& placement,
                                       const TraverseMoment& moment);

  // Part or zone change: damage that was asked for a number of traverses ends with the last one.
  void leave_traverse();

  // What the line does at the moment.
  [[nodiscard]] LineFaultSettings line_faults(const std::optional<Placement>& placement) const;

 private:
  struct Armed {
    FaultPlan plan;
    std::uint32_t happened = 0;
    double moved_s = 0.0;
    bool active = false;  // damage with a limited number of traverses: in this one
  };

  std::vector<Armed> faults_;
};

}  // namespace crestgate::simulator
