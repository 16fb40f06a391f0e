// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/bench.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/traverse.h"
#include "simulator/link/messages.h"
#include "simulator/scenario/fault_effects.h"
#include "simulator/stylus/envelope.h"
#include "simulator/surface/face.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

namespace {

base::Error problem(base::ErrorCode code, const std::string& what) { return {code, what}; }

}  // namespace

Bench::Bench(Scenario scenario) : scenario_(std::move(scenario)) {
  for (const FaultPlan& plan : scenario_.faults) add_fault(plan);
}

base::Outcome Bench::place(const std::string& part, std::optional<std::uint16_t> stage) {
  if (placement_) {
    return problem(base::ErrorCode::kBusy,
                   "part " + placement_->part.part + " lies on the bench: remove it first");
  }
  const PartAtStage* found = nullptr;
  for (const auto& [key, zones] : scenario_.parts) {
    if (key.part == part && (!stage || key.stage == *stage))
      found = &key;  // stages ascend: the last one stays
  }
  if (found == nullptr) {
    const std::string at = stage ? " at stage " + std::to_string(*stage) : "";
    return problem(base::ErrorCode::kNotFound, "the scenario has no part '" + part + "'" + at);
  }
  faults_.leave_traverse();
  felt_.clear();
  zone_passes_.clear();
  placement_ = Placement{.part = *found,
                         .attempt = ++attempts_[*found],
                         .zone = scenario_.parts.at(*found).begin()->first,
                         .traverses = 0};
  felt_face();
  return base::Done{};
}

base::Outcome Bench::choose_zone(std::uint32_t zone) {
  if (!placement_) return problem(base::ErrorCode::kNoData, "no part lies on the bench");
  if (!scenario_.parts.at(placement_->part).contains(zone)) {
    return problem(base::ErrorCode::kNotFound, "part " + placement_->part.part + " has no zone " +
                                                   std::to_string(zone) + " in the scenario");
  }
  faults_.leave_traverse();
  placement_->zone = zone;
  placement_->traverses = zone_passes_[zone];
  felt_face();  // made now, so that the answer to TRAVERSE need not wait for it
  return base::Done{};
}

base::Outcome Bench::remove() {
  if (!placement_) return problem(base::ErrorCode::kNoData, "no part lies on the bench");
  faults_.leave_traverse();
  placement_.reset();
  return base::Done{};
}

LineFaultSettings Bench::line_faults() const { return faults_.line_faults(placement_); }

// The stage is left out: a zone keeps its incoming surface from stage to stage.
std::uint64_t Bench::zone_seed() const {
  return derive_seed(derive_seed(scenario_.seed, placement_->part.part), placement_->zone);
}

std::uint64_t Bench::placement_seed() const {
  return derive_seed(derive_seed(derive_seed(zone_seed(), "placement"), placement_->part.stage),
                     placement_->attempt);
}

const Face& Bench::felt_face() {
  const auto known = felt_.find(placement_->zone);
  if (known != felt_.end()) return known->second;
  const std::string& surface = scenario_.parts.at(placement_->part).at(placement_->zone);
  Face face =
      make_face(scenario_.surfaces.at(surface), {.width_mm = scenario_.zones.at(placement_->zone).face_mm,
                                                 .grid_um = scenario_.grid_um,
                                                 .seed = zone_seed()});
  face.heights_um = tip_envelope(face.heights_um, face.grid_um, scenario_.stylus.tip);
  return felt_[placement_->zone] = std::move(face);
}

Pass Bench::next_pass(const TraverseOrder& order) {
  RandomStream random(placement_seed());
  const auto draw = [&random](const Varied& v) {
    return v.mean + v.deviation * std::clamp(random.normal(), -3.0, 3.0);
  };
  Pass pass{.samples = order.samples(),
            .spacing_mm = 1e-6 * order.spacing_nm,
            .speed_mm_per_s = 1e-3 * order.speed_um_per_s,
            .alignment = {},
            .noise_seed = 0};
  pass.alignment.tilt_um_per_mm = draw(scenario_.tilt_um_per_mm);
  pass.alignment.shift_mm = draw(scenario_.shift_mm);
  placement_->traverses = ++zone_passes_[placement_->zone];
  pass.noise_seed = derive_seed(derive_seed(placement_seed(), "noise"), placement_->traverses);
  return pass;
}

TracedHeights Bench::traverse(const TraverseOrder& order) {
  const TraverseMoment moment{.duration_s = 1e-3 * order.samples() * order.spacing_nm / order.speed_um_per_s,
                              .has_previous = !last_counts_.empty()};
  const std::vector<DueFault> due = faults_.begin_traverse(placement_, moment);
  std::vector<double> readings_um =
      placement_ ? read_pass(felt_face(), scenario_.stylus, next_pass(order)) : read_nothing(order.samples());
  disturb_readings(readings_um, due,
                   {.order = order,
                    .noise_um = scenario_.stylus.noise_um,
                    .seed = derive_seed(derive_seed(scenario_.seed, "disturbance"), traverses_++)});
  Trace trace = counts_of(readings_um, scenario_.stylus);
  TracedHeights traced;
  traced.counts = std::move(trace.counts);
  traced.quality = static_cast<std::uint16_t>(trace.over_range ? kWireOverRange : 0);
  last_count_ = traced.counts.empty() ? 0 : traced.counts.back();
  disturb_traverse(traced, due, last_counts_);
  last_counts_ = traced.counts;
  return traced;
}

StillReading Bench::still(bool touching, std::uint16_t averaging_ms) {
  constexpr std::uint16_t kReadingsPerMs = 1;
  const auto samples = static_cast<std::uint16_t>(averaging_ms * kReadingsPerMs);
  const std::int32_t at_rest = touching ? last_count_ : 0;
  if (at_rest == base::kOverRangeCount) return {.height_count = at_rest, .scatter_pm = 0, .samples = samples};
  RandomStream random(derive_seed(derive_seed(scenario_.seed, "still"), still_readings_++));
  double sum_um = 0.0;
  double squares_um2 = 0.0;
  for (std::uint16_t i = 0; i < samples; ++i) {
    const double z_um = scenario_.stylus.noise_um * random.normal();
    sum_um += z_um;
    squares_um2 += z_um * z_um;
  }
  const double mean_um = sum_um / samples;
  const double scatter_um = std::sqrt(std::max(squares_um2 / samples - mean_um * mean_um, 0.0));
  const double step_um = 1e-6 * scenario_.stylus.step_pm;
  return {.height_count = at_rest + static_cast<std::int32_t>(std::lround(mean_um / step_um)),
          .scatter_pm = static_cast<std::uint32_t>(std::lround(1e6 * scatter_um)),
          .samples = samples};
}

}  // namespace crestgate::simulator
