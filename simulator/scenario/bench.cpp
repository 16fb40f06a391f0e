// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/bench.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/traverse.h"
#include "simulator/link/messages.h"
#include "simulator/stylus/envelope.h"
#include "simulator/surface/face.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

namespace {

using Kind = FaultPlan::Kind;

base::Error problem(base::ErrorCode code, const std::string& what) { return {code, what}; }

std::optional<Upset::Kind> upset_of(Kind kind) {
  switch (kind) {
    case Kind::kStall:
      return Upset::Kind::kStall;
    case Kind::kSilent:
      return Upset::Kind::kSilent;
    case Kind::kRestart:
      return Upset::Kind::kRestart;
    case Kind::kDisconnect:
      return Upset::Kind::kDisconnect;
    case Kind::kDriveBlocked:
      return Upset::Kind::kDriveBlocked;
    default:
      return std::nullopt;
  }
}

std::uint16_t quality_of(Kind kind) {
  switch (kind) {
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

// Two independent faults on one line: a byte passes if it passes both.
void join(double& probability, double other) { probability = 1.0 - (1.0 - probability) * (1.0 - other); }

}  // namespace

Bench::Bench(Scenario scenario) : scenario_(std::move(scenario)) {
  for (const FaultPlan& plan : scenario_.faults) add_fault(plan);
}

void Bench::add_fault(const FaultPlan& plan) { faults_.push_back({.plan = plan, .happened = 0}); }

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
  placement_->zone = zone;
  placement_->traverses = zone_passes_[zone];
  felt_face();  // made now, so that the answer to TRAVERSE need not wait for it
  return base::Done{};
}

base::Outcome Bench::remove() {
  if (!placement_) return problem(base::ErrorCode::kNoData, "no part lies on the bench");
  placement_.reset();
  return base::Done{};
}

bool Bench::applies(const FaultPlan& plan) const {
  const bool conditional = plan.part || plan.stage || plan.attempt || plan.zone;
  if (!placement_) return !conditional;
  return (!plan.part || *plan.part == placement_->part.part) &&
         (!plan.stage || *plan.stage == placement_->part.stage) &&
         (!plan.attempt || *plan.attempt == placement_->attempt) &&
         (!plan.zone || *plan.zone == placement_->zone);
}

LineFaultSettings Bench::line_faults() const {
  LineFaultSettings settings;
  for (const ArmedFault& fault : faults_) {
    const FaultPlan& plan = fault.plan;
    if ((plan.kind != Kind::kFlipBit && plan.kind != Kind::kDropByte) || !applies(plan)) continue;
    const bool flips = plan.kind == Kind::kFlipBit;
    if (plan.direction != Direction::kToGauge) {
      join(flips ? settings.to_host.flip_probability : settings.to_host.drop_probability, plan.probability);
    }
    if (plan.direction != Direction::kToHost) {
      join(flips ? settings.to_gauge.flip_probability : settings.to_gauge.drop_probability, plan.probability);
    }
  }
  return settings;
}

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

TracedHeights Bench::traverse(const TraverseOrder& order) {
  Trace trace;
  if (!placement_) {
    trace = trace_nothing(order.samples());
  } else {
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
    trace = trace_pass(felt_face(), scenario_.stylus, pass);
  }
  TracedHeights traced{.counts = std::move(trace.counts),
                       .quality = static_cast<std::uint16_t>(trace.over_range ? kWireOverRange : 0),
                       .upset = std::nullopt};
  last_count_ = traced.counts.empty() ? 0 : traced.counts.back();
  add_faults_to(traced);
  return traced;
}

void Bench::add_faults_to(TracedHeights& traced) {
  for (ArmedFault& fault : faults_) {
    const FaultPlan& plan = fault.plan;
    const std::optional<Upset::Kind> kind = upset_of(plan.kind);
    const std::uint16_t quality = quality_of(plan.kind);
    const bool spent = plan.times != 0 && fault.happened >= plan.times;
    if ((!kind && quality == 0) || spent || !applies(plan) || (kind && traced.upset)) continue;
    ++fault.happened;
    traced.quality = static_cast<std::uint16_t>(traced.quality | quality);
    if (kind) {
      const auto half = static_cast<std::uint32_t>(traced.counts.size() / 2);
      traced.upset =
          Upset{.kind = *kind, .after_samples = plan.after_samples.value_or(half), .for_ms = plan.for_ms};
    }
  }
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
