// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/link_traverse.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <utility>

#include "driver/gauge/link/coverage.h"

namespace crestgate::driver::link {
namespace {

using base::ErrorCode;

// 16 MB of heights: beyond it the count is damage or a mistake, and must not take the memory.
constexpr std::uint32_t kMostSamples = 4'000'000;
// Chunks that may come before STARTED is known; what does not fit is asked for again.
constexpr std::size_t kMostEarly = 64;

SteadyTime now() { return std::chrono::steady_clock::now(); }

std::chrono::nanoseconds seconds_of(double seconds) {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::duration<double>(seconds));
}

// Everything known of the traverse under way.
struct Run {
  std::shared_ptr<Session> session;
  StartTraverse request;
  std::uint64_t damage_before = 0;
  std::optional<Started> started;
  std::vector<Chunk> early;
  std::optional<Coverage> coverage;
  std::optional<Finished> finished;
  std::optional<base::Error> contradiction;
  SteadyTime last_progress{};  // what the patience counts from
  SteadyTime last_sample{};    // the last sample that was new
  SteadyTime last_pulse{};
  std::optional<SteadyTime>
      all_due;  // when the drive has passed the last sample, reckoned from the first chunk
  std::uint32_t rounds = 0;
  std::uint32_t resent = 0;
};

double seconds_per_sample(const Started& started) {
  return 1e-3 * started.spacing_nm / started.speed_um_per_s;
}

void place(Run& run, const Chunk& chunk) {
  switch (run.coverage->place(chunk.first, chunk.heights)) {
    case Placed::kNew:
      run.last_sample = now();
      run.last_progress = run.last_sample;
      if (!run.all_due) {
        const auto behind = static_cast<double>(run.started->samples - chunk.first) -
                            static_cast<double>(chunk.heights.size());
        run.all_due = run.last_sample + seconds_of(behind * seconds_per_sample(*run.started));
      }
      break;
    case Placed::kKnown:
      break;
    case Placed::kOutside:
      run.session->count_unexpected();
      break;
    case Placed::kContradicts:
      run.contradiction = base::Error{
          ErrorCode::kChecksum, run.session->where() + ": the samples from " + std::to_string(chunk.first) +
                                    " on came twice with different heights: link damaged"};
      break;
  }
}

// Takes in a chunk or a FINISHED; anything else is no part of the data.
void absorb(Run& run, Message message) {
  if (auto* chunk = std::get_if<Chunk>(&message.body)) {
    if (run.coverage) {
      place(run, *chunk);
    } else if (run.early.size() < kMostEarly) {
      run.early.push_back(std::move(*chunk));
    }
  } else if (const auto* finished = std::get_if<Finished>(&message.body)) {
    run.finished = *finished;
  }
}

// Waits like Session::next, and pulses meanwhile so that the gauge knows that we live.
Awaitable<base::Result<Message>> next_pulsing(Run& run, SteadyTime deadline) {
  const std::chrono::milliseconds every = run.session->options().timing.pulse;
  while (true) {
    const SteadyTime pulse_due = run.last_pulse + every;
    if (now() >= pulse_due) {
      Message pulse;
      pulse.body = HostPulse{};
      auto sending = Session::send(run.session, std::move(pulse));
      const auto sent = co_await std::move(sending);
      if (!sent && sent.error().code != ErrorCode::kNoReply) co_return sent.error();
      run.last_pulse = now();
      continue;
    }
    auto waiting = Session::next(run.session, std::min(deadline, pulse_due));
    auto message = co_await std::move(waiting);
    const bool nothing_yet =
        !message && message.error().code == ErrorCode::kNoReply && !run.session->failed() && now() < deadline;
    if (!nothing_yet) co_return message;
  }
}

base::Outcome accept_started(Run& run, const Started& started) {
  const std::string where = run.session->where();
  if (started.traverse_id != run.request.traverse_id) {
    return base::Error{ErrorCode::kMalformed, where + ": STARTED names another traverse"};
  }
  if (started.samples == 0 || started.samples > kMostSamples || started.spacing_nm == 0 ||
      started.height_step_pm == 0 || started.speed_um_per_s == 0) {
    return base::Error{ErrorCode::kMalformed,
                       where + ": STARTED makes no sense: " + std::to_string(started.samples) +
                           " samples, spacing " + std::to_string(started.spacing_nm) + " nm, step " +
                           std::to_string(started.height_step_pm) + " pm, speed " +
                           std::to_string(started.speed_um_per_s) + " um/s"};
  }
  run.started = started;
  run.coverage.emplace(started.samples);
  for (const Chunk& chunk : run.early) place(run, chunk);
  run.early.clear();
  run.last_progress = now();
  return base::Done{};
}

// TRAVERSE until STARTED, always with the same sequence: the gauge starts only once.
Awaitable<base::Outcome> begin(Run& run) {
  const std::shared_ptr<Session> session = run.session;
  Message request;
  request.sequence = session->new_sequence();
  request.body = run.request;
  session->expect_traverse(run.request.traverse_id);
  session->expect_sequence(request.sequence);
  for (int attempt = 0; attempt < session->options().tries; ++attempt) {
    if (attempt > 0) session->count_repeat();
    auto sending = Session::send(session, request);
    const auto sent = co_await std::move(sending);
    if (!sent && sent.error().code != ErrorCode::kNoReply) co_return sent.error();
    run.last_pulse = now();
    const SteadyTime deadline = now() + session->options().timing.answer;
    while (true) {
      auto waiting = Session::next(session, deadline);
      auto message = co_await std::move(waiting);
      if (!message && message.error().code == ErrorCode::kNoReply && !session->failed()) break;
      if (!message) co_return message.error();
      if (const auto* refused = std::get_if<Refused>(&message->body)) {
        co_return Session::refusal_error(*refused);
      }
      if (const auto* started = std::get_if<Started>(&message->body)) co_return accept_started(run, *started);
      absorb(run, *std::move(message));
    }
  }
  co_return session->no_answer("TRAVERSE", run.damage_before);
}

base::Error stopped(const Run& run) {
  return {ErrorCode::kStopped, run.session->where() + ": the gauge stopped in the middle of a traverse: " +
                                   std::to_string(run.coverage->missing()) + " of " +
                                   std::to_string(run.started->samples) + " samples had not come"};
}

// What a pause of the data means.
enum class Pause : std::uint8_t {
  kWaitOn,
  kAskForTheRest,  // nothing more will come by itself
  kStopped,
};

Pause judge_pause(const Run& run, std::uint64_t damage_at_progress) {
  if (run.coverage->complete()) return Pause::kAskForTheRest;              // only FINISHED was lost
  if (run.all_due && now() >= *run.all_due) return Pause::kAskForTheRest;  // the end of the trace was lost
  // Damaged frames are a sign of life: the gauge still sends, and what it sent can be asked for again.
  return run.session->damage() > damage_at_progress ? Pause::kWaitOn : Pause::kStopped;
}

// Chunks until FINISHED.
Awaitable<base::Outcome> collect(Run& run) {
  const LinkTiming& timing = run.session->options().timing;
  const double expected_s = run.started->samples * seconds_per_sample(*run.started);
  const SteadyTime last_call = now() + seconds_of(1.5 * expected_s) + timing.finish;
  bool any_chunk = run.coverage->missing() < run.started->samples;
  std::uint64_t damage_at_progress = run.session->damage();
  while (!run.finished) {
    const auto patience = any_chunk ? timing.chunk : timing.first_chunk;
    const SteadyTime deadline = std::min(run.last_progress + patience, last_call);
    auto waiting = next_pulsing(run, std::max(deadline, now() + std::chrono::milliseconds(1)));
    auto message = co_await std::move(waiting);
    if (message) {
      const std::uint32_t missing = run.coverage->missing();
      absorb(run, *std::move(message));
      if (run.contradiction) co_return *run.contradiction;
      if (run.coverage->missing() < missing) {
        any_chunk = true;
        damage_at_progress = run.session->damage();
      }
      continue;
    }
    if (message.error().code != ErrorCode::kNoReply || run.session->failed()) co_return message.error();
    if (now() >= last_call) co_return base::Done{};
    const Pause pause = judge_pause(run, damage_at_progress);
    if (pause == Pause::kStopped) co_return stopped(run);
    if (pause == Pause::kAskForTheRest) co_return base::Done{};
    run.last_progress = now();
    damage_at_progress = run.session->damage();
  }
  co_return base::Done{};
}

// One gap, one request. Done also when the answer was incomplete: the next round asks for the rest.
Awaitable<base::Outcome> resend(Run& run, Gap gap) {
  const std::shared_ptr<Session> session = run.session;
  const std::chrono::milliseconds patience = session->options().timing.answer;
  const std::uint64_t damage_before = session->damage();
  Message request;
  request.sequence = session->new_sequence();
  request.body = Resend{run.request.traverse_id, gap.first, gap.count};
  session->expect_sequence(request.sequence);
  session->count_resend();
  for (int attempt = 0; attempt < session->options().tries; ++attempt) {
    if (attempt > 0) session->count_repeat();
    auto sending = Session::send(session, request);
    const auto sent = co_await std::move(sending);
    if (!sent && sent.error().code != ErrorCode::kNoReply) co_return sent.error();
    run.last_pulse = now();
    bool heard = false;
    SteadyTime deadline = now() + patience;
    while (true) {
      auto waiting = next_pulsing(run, deadline);
      auto message = co_await std::move(waiting);
      if (!message && message.error().code == ErrorCode::kNoReply && !session->failed()) break;
      if (!message) co_return message.error();
      if (const auto* refused = std::get_if<Refused>(&message->body)) {
        if (refused->refusal == kRefusedNoSuchTraverse) {  // cut short, so it is not kept
          co_return base::Error{ErrorCode::kStopped,
                                session->where() + ": the gauge stopped and does not keep this traverse"};
        }
        if (refused->refusal == kRefusedBusy) {
          co_return base::Error{ErrorCode::kStopped,
                                session->where() + ": the gauge still runs long after all samples were due"};
        }
        co_return Session::refusal_error(*refused);
      }
      const bool ends =
          std::holds_alternative<Finished>(message->body) && message->sequence == request.sequence;
      const std::uint32_t missing_before = run.coverage->missing();
      absorb(run, *std::move(message));
      if (run.contradiction) co_return *run.contradiction;
      if (ends) co_return base::Done{};
      heard = true;
      // Only progress buys time: a gauge that says the same thing again and again does not hold us for ever.
      if (run.coverage->missing() < missing_before) deadline = now() + patience;
    }
    if (heard) co_return base::Done{};
  }
  co_return session->no_answer("RESEND", damage_before);
}

Awaitable<base::Outcome> fill_gaps(Run& run) {
  const int most = run.session->options().resend_rounds;
  for (int round = 0; round < most; ++round) {
    std::vector<Gap> gaps = run.coverage->gaps();
    if (gaps.empty() && run.finished) co_return base::Done{};
    if (gaps.empty()) gaps.push_back({0, 1});  // any sample brings FINISHED again
    run.rounds = static_cast<std::uint32_t>(round) + 1;
    for (const Gap& gap : gaps) {
      const std::uint32_t missing = run.coverage->missing();
      auto asking = resend(run, gap);
      const auto asked = co_await std::move(asking);
      if (!asked) co_return asked.error();
      run.resent += missing - run.coverage->missing();
    }
  }
  if (run.coverage->complete() && run.finished) co_return base::Done{};
  co_return base::Error{ErrorCode::kChecksum, run.session->where() + ": " +
                                                  std::to_string(run.coverage->missing()) +
                                                  " samples are still missing after asking " +
                                                  std::to_string(most) + " times: link damaged"};
}

// The counts first: a gauge that ended early has no more to send.
base::Outcome verify_count(const Run& run) {
  if (!run.finished || run.finished->samples == run.started->samples) return base::Done{};
  const bool fewer = run.finished->samples < run.started->samples;
  return base::Error{fewer ? ErrorCode::kStopped : ErrorCode::kMalformed,
                     run.session->where() + ": STARTED announced " + std::to_string(run.started->samples) +
                         " samples, FINISHED counts " + std::to_string(run.finished->samples)};
}

base::Outcome verify(const Run& run) {
  const std::string where = run.session->where();
  if (auto counted = verify_count(run); !counted) return counted;
  if (run.finished->check != run.coverage->check()) {
    return base::Error{ErrorCode::kChecksum,
                       where + ": the check over the whole traverse is wrong: link damaged"};
  }
  return base::Done{};
}

std::uint32_t quality_of(const Run& run, const std::vector<std::int32_t>& counts) {
  std::uint32_t quality = 0;
  const std::uint16_t said = run.finished->quality;
  if ((said & 1U) != 0) quality |= base::kQualityOverRange;
  if ((said & 2U) != 0) quality |= base::kQualityStylusLifted;
  if ((said & 4U) != 0) quality |= base::kQualitySpeedUnsteady;
  if ((said & 8U) != 0) quality |= base::kQualityVibration;
  if (run.rounds > 0) quality |= base::kQualityResent;
  // What stands in the samples counts, whatever the gauge says of them.
  for (const std::int32_t count : counts) {
    if (count == base::kMissingCount) quality |= base::kQualityMissing;
    if (count == base::kOverRangeCount) quality |= base::kQualityOverRange;
  }
  return quality;
}

TraverseResult result_of(Run& run) {
  TraverseResult result;
  result.heights.spacing_mm = run.started->spacing_nm * 1e-6;
  result.heights.height_step_um = run.started->height_step_pm * 1e-6;
  result.heights.speed_mm_per_s = run.started->speed_um_per_s * 1e-3;
  result.heights.counts = run.coverage->take();
  result.heights.quality = quality_of(run, result.heights.counts);
  const auto arrived =
      std::chrono::duration_cast<std::chrono::nanoseconds>(run.last_sample.time_since_epoch());
  result.last_sample_arrived.ns = arrived.count();
  result.resend_rounds = run.rounds;
  result.resent_samples = run.resent;
  return result;
}

std::optional<std::uint32_t> whole(double value) {
  const double rounded = std::round(value);
  if (!std::isfinite(rounded) || rounded < 1.0 || rounded > std::numeric_limits<std::uint32_t>::max()) {
    return std::nullopt;
  }
  return static_cast<std::uint32_t>(rounded);
}

}  // namespace

base::Result<StartTraverse> to_wire(const TraverseRequest& request) {
  const auto length_um = whole(request.length_mm * 1e3);
  const auto spacing_nm = whole(request.spacing_mm * 1e6);
  const auto speed_um_per_s = whole(request.speed_mm_per_s * 1e3);
  if (!length_um || !spacing_nm || !speed_um_per_s) {
    return base::Error{ErrorCode::kOutOfRange, "the link cannot ask for a traverse of " +
                                                   std::to_string(request.length_mm) + " mm in steps of " +
                                                   std::to_string(request.spacing_mm) + " mm at " +
                                                   std::to_string(request.speed_mm_per_s) + " mm/s"};
  }
  return StartTraverse{0, *length_um, *spacing_nm, *speed_um_per_s};
}

Awaitable<base::Result<TraverseResult>> run_traverse(std::shared_ptr<Session> session,
                                                     TraverseRequest request) {
  const auto wire = to_wire(request);
  if (!wire) co_return wire.error();
  Run run;
  run.session = session;
  run.request = *wire;
  run.request.traverse_id = session->new_traverse_id();
  run.damage_before = session->damage();
  auto beginning = begin(run);
  const auto begun = co_await std::move(beginning);
  if (!begun) co_return begun.error();
  if (run.contradiction) co_return *run.contradiction;
  auto collecting = collect(run);
  const auto collected = co_await std::move(collecting);
  if (!collected) co_return collected.error();
  if (const auto counted = verify_count(run); !counted) co_return counted.error();
  auto filling = fill_gaps(run);
  const auto filled = co_await std::move(filling);
  const bool silent = !filled && filled.error().code == ErrorCode::kNoReply;
  if (silent && !run.finished && !run.coverage->complete()) co_return stopped(run);
  if (!filled) co_return filled.error();
  if (const auto verified = verify(run); !verified) co_return verified.error();
  co_return result_of(run);
}

}  // namespace crestgate::driver::link
