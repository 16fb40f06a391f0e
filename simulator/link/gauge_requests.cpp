// SPDX-License-Identifier: Apache-2.0
// What an arrived message makes the gauge do.

#include <algorithm>
#include <utility>

#include "simulator/link/gauge.h"

namespace crestgate::simulator {

namespace {

// The stylus comes down (or runs back and comes down) before the first height. Short enough that the first
// chunk comes within the second that LINK.md, section 2, allows between two of them.
constexpr std::int64_t kApproachMs = 250;

std::string beyond(const char* what, std::uint64_t value, const char* unit, std::uint64_t limit, bool above) {
  const std::string amount = std::to_string(value) + " " + unit;
  const std::string border = std::to_string(limit) + " " + unit;
  return std::string(what) + " " + amount + " is " + (above ? "beyond " : "below ") + border;
}

// The first value that this gauge cannot do, in words; empty when it can do all.
std::string objection(const StartTraverse& request, const GaugeTraits& traits) {
  if (request.length_um == 0) return "length 0 um holds no sample";
  if (request.length_um > traits.longest_traverse_um) {
    return beyond("length", request.length_um, "um", traits.longest_traverse_um, true);
  }
  if (request.spacing_nm < traits.smallest_spacing_nm) {
    return beyond("spacing", request.spacing_nm, "nm", traits.smallest_spacing_nm, false);
  }
  if (request.spacing_nm > std::uint64_t{1000} * request.length_um) {
    return beyond("spacing", request.spacing_nm, "nm", std::uint64_t{1000} * request.length_um, true);
  }
  if (request.speed_um_per_s < traits.slowest_um_per_s) {
    return beyond("speed", request.speed_um_per_s, "um/s", traits.slowest_um_per_s, false);
  }
  if (request.speed_um_per_s > traits.fastest_um_per_s) {
    return beyond("speed", request.speed_um_per_s, "um/s", traits.fastest_um_per_s, true);
  }
  return {};
}

}  // namespace

// The same request again (same number and same words) is answered again and not done again. A host that
// starts anew may hit the last number by chance; its other words tell it apart.
void Gauge::hear(const Received& received, base::MonotonicInstant now) {
  const bool from_gauge = std::visit([](const auto& m) { return m.kType >= 0x80; }, received.message);
  if (from_gauge) return;
  last_heard_ = now;
  // A host that has just opened its port threw away what came before, a zero included. Only HELLO tells us.
  if (std::holds_alternative<Hello>(received.message)) begin_with_zero_ = true;
  if (std::holds_alternative<HostPulse>(received.message)) return;
  if (last_request_ && last_request_->sequence == received.sequence &&
      last_request_->message == received.message) {
    for (const Frame& frame : last_answer_) emit(frame, now);
    return;
  }
  last_request_ = received;
  last_answer_.clear();
  still_.reset();
  std::visit([this, now](const auto& request) { act(request, now); }, received.message);
}

void Gauge::answer(const Message& message, base::MonotonicInstant now) {
  last_answer_.push_back(frame_of(last_request_->sequence, message));
  emit(last_answer_.back(), now);
}

void Gauge::refuse(std::uint8_t type, Refusal refusal, const std::string& text, base::MonotonicInstant now) {
  answer(Refused{.refused_type = type, .refusal = static_cast<std::uint16_t>(refusal), .text = text}, now);
}

void Gauge::act(const Hello& /*request*/, base::MonotonicInstant now) {
  constexpr std::uint8_t kSkidless = 1;
  answer(Identity{.minor_version = 0,
                  .boot_id = boot_id_,
                  .pickup = kSkidless,
                  .tip_radius_nm = traits_.tip_radius_nm,
                  .range_nm = traits_.range_nm,
                  .smallest_spacing_nm = traits_.smallest_spacing_nm,
                  .longest_traverse_um = traits_.longest_traverse_um,
                  .model = traits_.model,
                  .serial_number = traits_.serial_number,
                  .firmware = traits_.firmware},
         now);
}

void Gauge::act(const AskState& /*request*/, base::MonotonicInstant now) {
  answer(StateReport{.motion = motion(),
                     .stylus_clear = static_cast<std::uint8_t>(stylus_clear_ ? 1 : 0),
                     .fault = fault_,
                     .height_count = height_now(),
                     .height_step_pm = traits_.height_step_pm,
                     .seconds_since_boot =
                         static_cast<std::uint32_t>((now - powered_on_) / (1000 * base::kNsPerMs))},
         now);
}

void Gauge::act(const AskStill& request, base::MonotonicInstant now) {
  if (request.averaging_ms < 10 || request.averaging_ms > 2000) {
    refuse(AskStill::kType, Refusal::kOutOfRange,
           "averaging time " + std::to_string(request.averaging_ms) + " ms is not within 10 to 2000 ms", now);
  } else if (fault_ != 0) {
    refuse(AskStill::kType, Refusal::kGaugeFault, "the gauge has fault " + std::to_string(fault_), now);
  } else if (moving()) {
    refuse(AskStill::kType, Refusal::kNotNow, "the stylus is moving", now);
  } else {
    still_ = PendingStill{.sequence = last_request_->sequence,
                          .averaging_ms = request.averaging_ms,
                          .due = {now.ns + scaled_ns(request.averaging_ms)}};
  }
}

void Gauge::act(const StartTraverse& request, base::MonotonicInstant now) {
  const std::string wrong = objection(request, traits_);
  if (fault_ != 0) {
    refuse(StartTraverse::kType, Refusal::kGaugeFault, "the gauge has fault " + std::to_string(fault_), now);
  } else if (run_) {
    refuse(StartTraverse::kType, Refusal::kNotNow,
           "traverse " + std::to_string(run_->request.traverse_id) + " is running", now);
  } else if (lifted_at_) {
    refuse(StartTraverse::kType, Refusal::kNotNow, "the stylus is going up", now);
  } else if (!wrong.empty()) {
    refuse(StartTraverse::kType, Refusal::kOutOfRange, wrong, now);
  } else {
    const TraverseOrder order{.length_um = request.length_um,
                              .spacing_nm = request.spacing_nm,
                              .speed_um_per_s = request.speed_um_per_s};
    kept_.reset();
    stylus_clear_ = false;
    Run run;
    run.request = request;
    run.sequence = last_request_->sequence;
    run.heights = source_.traverse(order);
    for (Upset& upset : run.heights.upsets) {  // a chunk that is to be hit has one height at least
      if (hits_a_frame(upset.kind)) upset.after_samples = std::max(upset.after_samples, 1U);
    }
    std::stable_sort(run.heights.upsets.begin(), run.heights.upsets.end(),
                     [](const Upset& a, const Upset& b) { return a.after_samples < b.after_samples; });
    run.told_id =
        run.heights.under_previous_id ? previous_id_.value_or(request.traverse_id) : request.traverse_id;
    previous_id_ = request.traverse_id;
    run.first_sample_at = {now.ns + scaled_ns(kApproachMs)};
    run_ = std::move(run);
    answer(Started{.traverse_id = request.traverse_id,
                   .samples = order.samples(),
                   .spacing_nm = request.spacing_nm,
                   .height_step_pm = traits_.height_step_pm,
                   .speed_um_per_s = request.speed_um_per_s},
           now);
  }
}

void Gauge::act(const Resend& request, base::MonotonicInstant now) {
  if (run_) {
    refuse(Resend::kType, Refusal::kNotNow,
           "traverse " + std::to_string(run_->request.traverse_id) + " is running", now);
    return;
  }
  if (!kept_ || kept_->traverse_id != request.traverse_id) {
    const std::string held =
        kept_ ? "the last one is " + std::to_string(kept_->traverse_id) : "no whole traverse is kept";
    refuse(Resend::kType, Refusal::kNoSuchTraverse,
           "no traverse " + std::to_string(request.traverse_id) + ": " + held, now);
    return;
  }
  const std::uint64_t size = kept_->height_counts.size();
  const std::uint64_t end = std::uint64_t{request.first_sample} + request.count;
  if (request.count == 0 || end > size) {
    refuse(Resend::kType, Refusal::kOutOfRange,
           "samples " + std::to_string(request.first_sample) + " + " + std::to_string(request.count) +
               " are not within the " + std::to_string(size) + " of the traverse",
           now);
    return;
  }
  for (std::uint64_t at = request.first_sample; at < end; at += Chunk::kMostHeights) {
    const std::uint64_t stop = std::min<std::uint64_t>(at + Chunk::kMostHeights, end);
    Chunk chunk{.traverse_id = request.traverse_id,
                .first_sample = static_cast<std::uint32_t>(at),
                .height_counts = {}};
    chunk.height_counts.assign(kept_->height_counts.begin() + static_cast<std::ptrdiff_t>(at),
                               kept_->height_counts.begin() + static_cast<std::ptrdiff_t>(stop));
    answer(chunk, now);
  }
  answer(kept_->finished, now);
}

void Gauge::act(const Abort& /*request*/, base::MonotonicInstant now) { lift_and_tell(now); }

void Gauge::act(const Retract& /*request*/, base::MonotonicInstant now) { lift_and_tell(now); }

void Gauge::act(const HostPulse& /*request*/, base::MonotonicInstant /*now*/) {
}  // heard, and that was its use

// ABORT and RETRACT end alike: a stopped stylus that stays on the surface would only wait for a crash. A
// traverse that is cut short is not kept: it has no FINISHED to send again.
void Gauge::lift_and_tell(base::MonotonicInstant now) {
  if (stylus_clear_) {
    answer(Lifted{.stylus_clear = 1}, now);
    return;
  }
  lift_sequence_ = last_request_->sequence;
  if (!lifted_at_) begin_lift(now);
}

}  // namespace crestgate::simulator
