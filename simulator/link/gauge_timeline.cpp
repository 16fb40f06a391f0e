// SPDX-License-Identifier: Apache-2.0
// What the passing of time makes the gauge do.

#include <algorithm>
#include <cmath>
#include <limits>

#include "simulator/link/gauge.h"

namespace crestgate::simulator {

namespace {

constexpr base::MonotonicInstant kNever{std::numeric_limits<std::int64_t>::max()};
constexpr std::int64_t kPulseMs = 500;         // LINK.md, section 2
constexpr std::int64_t kHostSilenceMs = 3000;  // LINK.md, section 2
constexpr std::int64_t kLiftMs = 200;
constexpr std::int64_t kBootMs = 700;  // shorter than the 2 s after which the host calls the link lost
// A slow traverse fills no chunk of 150 within the second that may pass between two chunks.
constexpr std::int64_t kLongestChunkMs = 250;

}  // namespace

std::int64_t Gauge::scaled_ns(std::int64_t ms) const {
  return std::llround(static_cast<double>(ms * base::kNsPerMs) / traits_.speed_scale);
}

base::MonotonicInstant Gauge::measured_at(std::uint32_t samples) const {
  // nm / (um/s) = ms; a millisecond is 1e6 ns.
  const double sample_ns =
      1e6 * run_->request.spacing_nm / run_->request.speed_um_per_s / traits_.speed_scale;
  return {run_->first_sample_at.ns + std::llround(samples * sample_ns)};
}

std::uint32_t Gauge::next_chunk_end() const {
  const double samples_per_ms =
      traits_.speed_scale * run_->request.speed_um_per_s / static_cast<double>(run_->request.spacing_nm);
  const double within_time = std::max(1.0, std::floor(samples_per_ms * kLongestChunkMs));
  const auto most =
      static_cast<std::uint32_t>(std::min(within_time, static_cast<double>(Chunk::kMostHeights)));
  auto end = std::min(run_->sent + most, static_cast<std::uint32_t>(run_->heights.counts.size()));
  if (!run_->heights.upsets.empty()) end = std::min(end, run_->heights.upsets.front().after_samples);
  return end;
}

base::MonotonicInstant Gauge::next_event() const {
  base::MonotonicInstant due = pulse_due_;
  if (run_ && !run_->stalled) due = std::min(due, measured_at(next_chunk_end()));
  if (lifted_at_) due = std::min(due, *lifted_at_);
  if (still_) due = std::min(due, still_->due);
  if (fault_ends_) due = std::min(due, *fault_ends_);
  if (!stylus_clear_ && !lifted_at_) due = std::min(due, base::after_ms(last_heard_, kHostSilenceMs));
  return due;
}

void Gauge::advance(base::MonotonicInstant now) {
  while (!hang_ && next_event() <= now) fire(next_event());
}

// One event at its own time. Of several at the same time the order below decides.
void Gauge::fire(base::MonotonicInstant at) {
  if (pulse_due_ <= at) {
    if (booting_) power_on(at);
    pulse_due_ = base::after_ms(at, kPulseMs);
    emit(frame_of(0, GaugePulse{.boot_id = boot_id_,
                                .motion = motion(),
                                .stylus_clear = static_cast<std::uint8_t>(stylus_clear_ ? 1 : 0)}),
         at);
  } else if (run_ && !run_->stalled && measured_at(next_chunk_end()) <= at) {
    send_due_chunk(at);
  } else if (lifted_at_ && *lifted_at_ <= at) {
    finish_lift(at);
  } else if (still_ && still_->due <= at) {
    answer_still(at);
  } else if (fault_ends_ && *fault_ends_ <= at) {
    fault_ = 0;
    fault_ends_.reset();
  } else if (!stylus_clear_ && !lifted_at_) {
    begin_lift(at);  // the host is silent: nobody watches a stylus that is down
  }
}

void Gauge::send_due_chunk(base::MonotonicInstant at) {
  const std::uint32_t end = next_chunk_end();
  if (end > run_->sent) {
    Chunk chunk{.traverse_id = run_->told_id, .first_sample = run_->sent, .height_counts = {}};
    chunk.height_counts.assign(run_->heights.counts.begin() + static_cast<std::ptrdiff_t>(run_->sent),
                               run_->heights.counts.begin() + static_cast<std::ptrdiff_t>(end));
    run_->sent = end;
    emit(frame_of(run_->sequence, chunk), at);
  }
  meet_upsets(at);
  // After a hang the next event finds nothing to send and comes here again.
  if (run_ && !hang_ && !run_->stalled && run_->sent == run_->heights.counts.size()) finish_run(at);
}

void Gauge::meet_upsets(base::MonotonicInstant at) {
  while (run_ && !hang_ && !run_->stalled && !run_->heights.upsets.empty() &&
         run_->heights.upsets.front().after_samples <= run_->sent) {
    const Upset upset = run_->heights.upsets.front();
    run_->heights.upsets.erase(run_->heights.upsets.begin());
    meet(upset, at);
  }
}

void Gauge::meet(const Upset& upset, base::MonotonicInstant at) {
  switch (upset.kind) {
    case Upset::Kind::kStall:
      run_->stalled = true;
      return;
    case Upset::Kind::kHang:
      hang_ = upset.for_ms == 0 ? Hang{.ends = kNever, .lasts_ns = 0}
                                : Hang{.ends = base::after_ms(outside(at), upset.for_ms),
                                       .lasts_ns = upset.for_ms * base::kNsPerMs};
      return;
    case Upset::Kind::kRestart:
    case Upset::Kind::kResetInReply:
      if (upset.kind == Upset::Kind::kResetInReply) tell_line(upset, at);
      power_on(at);  // forgets everything
      booting_ = true;
      pulse_due_ = base::after_ms(at, kBootMs);
      return;
    case Upset::Kind::kDriveBlocked:
      run_.reset();
      fault_ = kFaultDriveBlocked;
      if (upset.for_ms > 0) fault_ends_ = base::after_ms(at, upset.for_ms);
      return;
    default:
      tell_line(upset, at);
      return;
  }
}

void Gauge::tell_line(const Upset& upset, base::MonotonicInstant at) {
  out_.line_upsets.push_back({.upset = upset, .after_bytes = out_.bytes.size(), .at = outside(at)});
}

void Gauge::finish_run(base::MonotonicInstant at) {
  Kept kept;
  kept.traverse_id = run_->told_id;
  kept.height_counts = std::move(run_->heights.counts);
  // The time the motion takes by length and speed, whatever the scale: it describes the trace.
  const double duration_ms = static_cast<double>(kept.height_counts.size()) * run_->request.spacing_nm /
                             run_->request.speed_um_per_s;
  kept.finished = Finished{.traverse_id = kept.traverse_id,
                           .samples = static_cast<std::uint32_t>(kept.height_counts.size()),
                           .quality = run_->heights.quality,
                           .check = check_of(wire_heights(kept.height_counts)),
                           .duration_ms = static_cast<std::uint32_t>(std::lround(duration_ms))};
  const std::uint16_t sequence = run_->sequence;
  kept_ = std::move(kept);
  run_.reset();
  emit(frame_of(sequence, kept_->finished), at);
}

void Gauge::begin_lift(base::MonotonicInstant now) {
  run_.reset();
  lifted_at_ = base::MonotonicInstant{now.ns + scaled_ns(kLiftMs)};
}

void Gauge::finish_lift(base::MonotonicInstant at) {
  lifted_at_.reset();
  stylus_clear_ = true;
  if (!lift_sequence_) return;
  const Frame done = frame_of(*lift_sequence_, Lifted{.stylus_clear = 1});
  if (last_request_ && last_request_->sequence == *lift_sequence_) last_answer_ = {done};
  lift_sequence_.reset();
  emit(done, at);
}

void Gauge::answer_still(base::MonotonicInstant at) {
  const StillReading reading = source_.still(!stylus_clear_, still_->averaging_ms);
  const Frame frame = frame_of(still_->sequence, StillReport{.height_count = reading.height_count,
                                                             .height_step_pm = traits_.height_step_pm,
                                                             .scatter_pm = reading.scatter_pm,
                                                             .samples = reading.samples});
  still_.reset();
  last_answer_ = {frame};
  emit(frame, at);
}

}  // namespace crestgate::simulator
