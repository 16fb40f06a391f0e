// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/armed_faults.h"

#include <algorithm>

namespace crestgate::simulator {

namespace {

using Kind = FaultPlan::Kind;

bool holds(const FaultPlan& plan, const std::optional<Placement>& placement) {
  const bool conditional = plan.part || plan.stage || plan.attempt || plan.zone;
  if (!placement) return !conditional;
  return (!plan.part || *plan.part == placement->part.part) &&
         (!plan.stage || *plan.stage == placement->part.stage) &&
         (!plan.attempt || *plan.attempt == placement->attempt) &&
         (!plan.zone || *plan.zone == placement->zone);
}

// Two independent faults on one line: a byte passes if it passes both.
void join(double& probability, double other) { probability = 1.0 - (1.0 - probability) * (1.0 - other); }

void join_bytes(LineFaultSettings& settings, const FaultPlan& plan) {
  const bool flips = plan.kind == Kind::kFlipBit;
  if (plan.direction != Direction::kToGauge) {
    join(flips ? settings.to_host.flip_probability : settings.to_host.drop_probability, *plan.probability);
  }
  if (plan.direction != Direction::kToHost) {
    join(flips ? settings.to_gauge.flip_probability : settings.to_gauge.drop_probability, *plan.probability);
  }
}

}  // namespace

std::vector<DueFault> ArmedFaults::begin_traverse(const std::optional<Placement>& placement,
                                                  const TraverseMoment& moment) {
  leave_traverse();
  std::vector<DueFault> due;
  bool interrupted = false;
  for (Armed& fault : faults_) {
    const FaultPlan& plan = fault.plan;
    if (plan.probability && plan.times == 0) continue;  // acts by its conditions alone
    const bool spent = plan.times != 0 && fault.happened >= plan.times;
    const bool impossible = plan.kind == Kind::kStaleRepeat && !moment.has_previous;
    if (spent || impossible || !holds(plan, placement) || (interrupted && interrupts(plan.kind))) continue;
    ++fault.happened;
    fault.active = plan.probability.has_value();
    interrupted = interrupted || interrupts(plan.kind);
    if (!plan.probability) {
      due.push_back({.plan = plan, .nth = fault.happened, .moved_before_s = fault.moved_s});
    }
    fault.moved_s += moment.duration_s;
  }
  return due;
}

void ArmedFaults::leave_traverse() {
  for (Armed& fault : faults_) fault.active = false;
}

LineFaultSettings ArmedFaults::line_faults(const std::optional<Placement>& placement) const {
  LineFaultSettings settings;
  for (const Armed& fault : faults_) {
    const FaultPlan& plan = fault.plan;
    if (!plan.probability || !(plan.times == 0 ? holds(plan, placement) : fault.active)) continue;
    switch (plan.kind) {
      case Kind::kDuplicateFrame:
        join(settings.frames.duplicate_probability, *plan.probability);
        break;
      case Kind::kSwapFrames:
        join(settings.frames.swap_probability, *plan.probability);
        break;
      case Kind::kTruncateFrame:
        join(settings.frames.truncate_probability, *plan.probability);
        break;
      default:
        join_bytes(settings, plan);
    }
  }
  return settings;
}

}  // namespace crestgate::simulator
