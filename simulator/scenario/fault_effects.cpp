// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/fault_effects.h"

#include <algorithm>
#include <cstddef>

#include "simulator/link/messages.h"
#include "simulator/stylus/disturbance.h"

namespace crestgate::simulator {

namespace {

using Kind = FaultPlan::Kind;

std::size_t begin_of(const FaultPlan& plan, std::size_t samples) {
  return std::min<std::size_t>(plan.after_samples.value_or(static_cast<std::uint32_t>(samples / 2)), samples);
}

Section section_of(const FaultPlan& plan, std::size_t samples) {
  const std::size_t first = begin_of(plan, samples);
  const std::size_t wanted = plan.samples ? *plan.samples : std::max<std::size_t>(samples / 10, 1);
  return {.first = first, .end = first + std::min(wanted, samples - first)};
}

GainCourse gain_of(const DueFault& fault, const TraverseOrder& order) {
  const double sample_s = 1e-3 * order.spacing_nm / order.speed_um_per_s;
  const double percent = fault.plan.percent * fault.nth + fault.plan.percent_per_s * fault.moved_before_s;
  return {.first = 1.0 + 0.01 * percent, .per_sample = 0.01 * fault.plan.percent_per_s * sample_s};
}

std::uint16_t quality_bit(const FaultPlan& plan) {
  if (!plan.noticed) return 0;
  switch (plan.kind) {
    case Kind::kOverRange:
      return kWireOverRange;
    case Kind::kLiftOff:
    case Kind::kStylusLifted:
      return kWireStylusLifted;
    case Kind::kSpeedUnsteady:
      return kWireSpeedUnsteady;
    case Kind::kVibration:
      return kWireVibration;
    default:
      return 0;
  }
}

Upset upset_for(const FaultPlan& plan, Upset::Kind kind, std::size_t samples) {
  return {.kind = kind,
          .after_samples = plan.after_samples.value_or(static_cast<std::uint32_t>(samples / 2)),
          .for_ms = plan.for_ms,
          .bytes_per_s = kind == Upset::Kind::kSlow ? plan.bytes_per_s : 0,
          .replug = plan.replug};
}

}  // namespace

void disturb_readings(std::vector<double>& readings_um, const std::vector<DueFault>& due,
                      const DisturbedPass& pass) {
  RandomStream random(derive_seed(pass.seed, "faults"));
  const std::size_t samples = readings_um.size();
  for (const DueFault& fault : due) {
    const FaultPlan& plan = fault.plan;
    if (plan.kind == Kind::kStuckStylus) {
      stick(readings_um, begin_of(plan, samples), plan.noise_um, random);
    } else if (plan.kind == Kind::kLiftOff) {
      const Flight flight{
          .over = section_of(plan, samples), .height_um = plan.height_um, .noise_um = pass.noise_um};
      lift_off(readings_um, flight, random);
    } else if (plan.kind == Kind::kGainDrift) {
      change_gain(readings_um, gain_of(fault, pass.order));
    } else if (plan.kind == Kind::kVibration) {
      vibrate(readings_um, {.amplitude_um = plan.amplitude_um,
                            .wavelength_mm = plan.wavelength_mm,
                            .spacing_mm = 1e-6 * pass.order.spacing_nm,
                            .phase_turns = random.uniform()});
    }
  }
}

void disturb_traverse(TracedHeights& traced, const std::vector<DueFault>& due,
                      const std::vector<std::int32_t>& previous) {
  const std::size_t samples = traced.counts.size();
  for (const DueFault& fault : due) {
    const FaultPlan& plan = fault.plan;
    traced.quality = static_cast<std::uint16_t>(traced.quality | quality_bit(plan));
    if (const auto kind = upset_of(plan.kind)) {
      traced.upsets.push_back(upset_for(plan, *kind, samples));
    } else if (plan.kind == Kind::kOverRange) {
      const Section section = section_of(plan, samples);
      std::fill(traced.counts.begin() + static_cast<std::ptrdiff_t>(section.first),
                traced.counts.begin() + static_cast<std::ptrdiff_t>(section.end), kEndStopCount);
    } else if (plan.kind == Kind::kStaleRepeat) {
      const std::size_t stale = std::min(samples, previous.size());
      std::copy_n(previous.begin(), stale, traced.counts.begin());
      traced.under_previous_id = traced.under_previous_id || plan.under_old_id;
    }
  }
}

}  // namespace crestgate::simulator
