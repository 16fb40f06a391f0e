// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/link_session.h"

#include <algorithm>
#include <array>
#include <exception>
#include <span>
#include <utility>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "driver/gauge/link/codec.h"

namespace crestgate::driver::link {
namespace {

namespace asio = boost::asio;

// One read never completes more frames than this (4096 / 12), so a consumer that runs at all loses none. When
// it does overflow the newest are dropped: lost chunks are asked for again.
constexpr std::size_t kMostWaiting = 1024;

// A line full of damage is given up later than a silent one: pulses may be hit by chance.
constexpr int kDamagedSilences = 2;

SteadyTime now() { return std::chrono::steady_clock::now(); }

std::string milliseconds_text(std::chrono::milliseconds time) { return std::to_string(time.count()) + " ms"; }

}  // namespace

Session::Session(const asio::any_io_executor& executor, std::unique_ptr<ByteStream> stream,
                 LinkOptions options)
    : options_(std::move(options)),
      stream_(std::move(stream)),
      executor_(executor),
      wake_(executor),
      idle_(executor),
      opened_(now()),
      last_frame_(opened_) {
  // Any sequence and any traverse id will do, but not those of an earlier session: its late answers must not
  // fit.
  const auto ticks = static_cast<std::uint64_t>(opened_.time_since_epoch().count());
  next_sequence_ = static_cast<std::uint16_t>(ticks >> 10U);
  next_traverse_id_ = static_cast<std::uint32_t>(ticks >> 20U);
}

void Session::start() {
  stream_->discard_input();
  asio::co_spawn(executor_, read_until_failure(shared_from_this()),
                 [self = shared_from_this()](const std::exception_ptr& error) {
                   if (error)
                     self->fail({base::ErrorCode::kIo, self->where() + ": the reader ended by an exception"});
                 });
}

void Session::fail(const base::Error& error) {
  if (failure_) return;
  failure_ = error;
  stream_->close();
  wake_.cancel();
  if (failure_listener_) failure_listener_();
}

Awaitable<void> Session::read_until_failure(std::shared_ptr<Session> self) {
  std::array<std::byte, 4096> buffer{};
  std::vector<Message> messages;
  const std::chrono::milliseconds silence = self->options_.timing.silence;
  while (!self->failed()) {
    const SteadyTime heard = self->last_byte_.value_or(self->opened_);
    auto pending = self->stream_->read_some(buffer, heard + silence);
    const auto got = co_await std::move(pending);
    if (self->failed()) co_return;
    if (!got && got.error().code == base::ErrorCode::kNoReply) {
      self->fail({base::ErrorCode::kNoReply,
                  self->where() + ": nothing came from the gauge for " + milliseconds_text(silence)});
      co_return;
    }
    if (!got) {
      self->fail(got.error());
      co_return;
    }
    self->last_byte_ = now();
    messages.clear();
    self->framer_.feed(std::span(buffer).first(*got), messages);
    if (!messages.empty()) self->last_frame_ = *self->last_byte_;
    for (Message& message : messages) self->take(std::move(message));
    if (*self->last_byte_ - self->last_frame_ > kDamagedSilences * silence) {
      const bool other = self->framer_.counters().other_version > 0;
      self->fail({other ? base::ErrorCode::kNotSupported : base::ErrorCode::kChecksum,
                  self->where() + (other ? ": the gauge speaks another version of the link"
                                         : ": bytes come, but no whole frame; is the baud rate right?")});
    }
  }
}

void Session::take(Message message) {
  if (failure_) return;
  if (const auto* pulse = std::get_if<GaugePulse>(&message.body)) {
    take_pulse(*pulse);
    return;
  }
  if (const auto* identity = std::get_if<Identity>(&message.body)) {
    if (boot_id_ && *boot_id_ != identity->boot_id) {
      fail({base::ErrorCode::kRestarted, where() + ": the gauge restarted (its boot id changed)"});
      return;
    }
  }
  if (is_expected(message)) {
    deliver(std::move(message));
  } else {
    ++unexpected_;
  }
}

void Session::take_pulse(const GaugePulse& pulse) {
  if (boot_id_ && *boot_id_ != pulse.boot_id) {
    fail({base::ErrorCode::kRestarted, where() + ": the gauge restarted (its boot id changed)"});
    return;
  }
  last_pulse_ = pulse;
}

bool Session::is_expected(const Message& message) const {
  const std::uint8_t type = static_cast<std::uint8_t>(type_of(message.body));
  if (type < 0x80) return false;  // our own words come back: a loop in the cable
  // Chunks are placed by their traverse and first sample, whatever request brought them.
  if (const auto* chunk = std::get_if<Chunk>(&message.body)) return expected_traverse_ == chunk->traverse_id;
  if (const auto* finished = std::get_if<Finished>(&message.body)) {
    return expected_traverse_ == finished->traverse_id;
  }
  return expected_sequence_ == message.sequence;
}

void Session::deliver(Message message) {
  if (inbox_.size() < kMostWaiting) inbox_.push_back(std::move(message));
  wake_.cancel();
}

std::uint16_t Session::new_sequence() {
  if (next_sequence_ == 0) next_sequence_ = 1;  // 0 is never used by a request
  return next_sequence_++;
}

void Session::expect_sequence(std::optional<std::uint16_t> sequence) { expected_sequence_ = sequence; }

void Session::expect_traverse(std::optional<std::uint32_t> id) {
  expected_traverse_ = id;
  if (!id) inbox_.clear();
}

Awaitable<base::Outcome> Session::send(std::shared_ptr<Session> self, Message message) {
  if (self->failure_) co_return *self->failure_;
  Bytes wire;
  // A zero first after opening, after silence and after a write that broke off: the far end may hold half a
  // frame.
  if (!self->clean_start_ || now() - self->last_write_ > std::chrono::seconds(1)) wire.push_back(0);
  const Bytes frame = encode_frame(message);
  wire.insert(wire.end(), frame.begin(), frame.end());
  auto pending = self->stream_->write(std::as_bytes(std::span(wire)), now() + self->options_.timing.write);
  const auto written = co_await std::move(pending);
  self->clean_start_ = written.has_value();
  self->last_write_ = now();
  if (self->failure_) co_return *self->failure_;
  if (!written && written.error().code != base::ErrorCode::kNoReply) self->fail(written.error());
  co_return written;
}

Awaitable<base::Result<Message>> Session::next(std::shared_ptr<Session> self, SteadyTime deadline) {
  while (true) {
    if (self->failure_) co_return *self->failure_;
    if (self->abort_wanted_) {
      co_return base::Error{base::ErrorCode::kCancelled, self->where() + ": aborted"};
    }
    if (!self->inbox_.empty()) {
      Message message = std::move(self->inbox_.front());
      self->inbox_.pop_front();
      co_return message;
    }
    if (now() >= deadline) {
      co_return base::Error{base::ErrorCode::kNoReply, self->where() + ": no answer in time"};
    }
    self->wake_.expires_at(deadline);
    co_await self->wake_.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

Awaitable<base::Result<Message>> Session::ask(std::shared_ptr<Session> self, Body body,
                                              std::chrono::milliseconds allowed) {
  const std::uint64_t damage_before = self->damage();
  Message request;
  request.sequence = self->new_sequence();
  request.body = std::move(body);
  self->inbox_.clear();
  self->expect_sequence(request.sequence);
  for (int attempt = 0; attempt < self->options_.tries; ++attempt) {
    if (attempt > 0) self->count_repeat();
    auto sending = send(self, request);
    const auto sent = co_await std::move(sending);
    if (!sent && sent.error().code != base::ErrorCode::kNoReply) co_return sent.error();
    auto waiting = next(self, now() + allowed);
    auto answer = co_await std::move(waiting);
    if (!answer && answer.error().code == base::ErrorCode::kNoReply && !self->failed()) continue;
    self->expect_sequence(std::nullopt);
    if (!answer) co_return answer.error();
    if (const auto* refused = std::get_if<Refused>(&answer->body)) co_return refusal_error(*refused);
    co_return answer;
  }
  self->expect_sequence(std::nullopt);
  co_return self->no_answer("the request", damage_before);
}

Awaitable<void> Session::wait_idle(std::shared_ptr<Session> self) {
  while (self->busy_) {
    self->idle_.expires_at(SteadyTime::max());
    co_await self->idle_.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

void Session::want_abort(bool wanted) {
  abort_wanted_ = wanted;
  if (wanted) wake_.cancel();
}

std::uint64_t Session::damage() const {
  const FrameCounters& seen = framer_.counters();
  return seen.damaged + seen.overlong + seen.malformed;
}

base::Error Session::no_answer(const std::string& what, std::uint64_t damage_before) const {
  if (framer_.counters().good == 0 && framer_.counters().other_version > 0) {
    return {base::ErrorCode::kNotSupported, where() + ": the gauge speaks another version of the link"};
  }
  const std::string tries = std::to_string(options_.tries) + " times";
  if (damage() > damage_before) {
    return {base::ErrorCode::kChecksum, where() + ": " + what + " was sent " + tries + " and only " +
                                            std::to_string(damage() - damage_before) +
                                            " damaged frames came back: link damaged"};
  }
  return {base::ErrorCode::kNoReply, where() + ": " + what + " was sent " + tries + " without an answer"};
}

base::Error Session::refusal_error(const Refused& refused) {
  const std::string text = refused.text.empty() ? "no reason given" : refused.text;
  const std::string detail = "the gauge refused (" + std::to_string(refused.refusal) + "): " + text;
  switch (refused.refusal) {
    case kRefusedRange:
      return {base::ErrorCode::kOutOfRange, detail};
    case kRefusedFault:
      return {base::ErrorCode::kDeviceFault, detail};
    default:
      return {base::ErrorCode::kRefused, detail};
  }
}

GaugeHealth Session::health() const {
  const FrameCounters& seen = framer_.counters();
  GaugeHealth health;
  health.frames_good = seen.good;
  health.frames_damaged = seen.damaged;
  health.frames_overlong = seen.overlong;
  health.frames_malformed = seen.malformed;
  health.frames_unknown_type = seen.unknown_type;
  health.frames_other_version = seen.other_version;
  health.frames_unexpected = unexpected_;
  health.repeats = repeats_;
  health.resends = resends_;
  health.connections = 1;
  if (last_byte_) {
    health.seconds_since_last_byte = std::chrono::duration<double>(now() - *last_byte_).count();
  }
  if (last_pulse_ && !failure_) {
    health.stylus_clear_seen = last_pulse_->stylus_clear == 1;
    health.moving_seen = last_pulse_->motion == kMoving;
  }
  return health;
}

Turn::~Turn() {  // NOLINT(bugprone-exception-escape)
  session_.busy_ = false;
  session_.expected_sequence_.reset();
  session_.expect_traverse(std::nullopt);
  session_.idle_.cancel();
}

}  // namespace crestgate::driver::link
