// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/relay/relay_session.h"

#include <algorithm>
#include <span>
#include <string>
#include <utility>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using Clock = RelayState::Clock;
using std::chrono::milliseconds;

constexpr milliseconds kRest{1000};
constexpr milliseconds kLastWrite{300};  // for everything off, when nothing else counts any more
constexpr std::size_t kLongestLine = 256;

base::Error stopped_error() { return {base::ErrorCode::kCancelled, "the relay was stopped"}; }

// As a person can read it: a device at the wrong speed answers with anything.
std::string shown_text(const std::string& bytes) {
  std::string text;
  for (const char c : bytes.substr(0, 40)) text.push_back(c < 0x20 || c > 0x7E ? '?' : c);
  return text;
}

Awaitable<base::Outcome> write_text(RelayPtr relay, std::string text, Deadline deadline) {
  const std::shared_ptr<ByteStream> stream = relay->stream;
  relay->writing = true;
  auto pending = stream->write(std::as_bytes(std::span(text)), deadline);
  auto written = co_await std::move(pending);
  relay->writing = false;
  co_return written;
}

// The next whole line, without its end.
Awaitable<base::Result<std::string>> read_line(RelayPtr relay, Deadline deadline) {
  const std::shared_ptr<ByteStream> stream = relay->stream;
  std::string got;
  std::array<std::byte, 64> chunk{};
  for (;;) {
    auto pending = stream->read_some(chunk, deadline);
    const auto count = co_await std::move(pending);
    if (!count) co_return count.error();
    for (const std::byte byte : std::span(chunk).first(*count)) got.push_back(static_cast<char>(byte));
    const std::size_t end = got.find(relay->dialect.line_end);
    if (end != std::string::npos) co_return got.substr(0, end);
    if (got.size() > kLongestLine) {
      co_return base::Error{base::ErrorCode::kMalformed, stream->describe() + ": no line end within " +
                                                             std::to_string(kLongestLine) + " bytes"};
    }
  }
}

Awaitable<base::Outcome> send_step(RelayPtr relay, RelayStep step) {
  const RelayLight& light = relay->dialect.lights[step.light];
  const std::string& command = step.on ? light.on : light.off;
  const std::string at = relay->stream->describe();
  const Deadline deadline = Clock::now() + relay->dialect.reply_timeout;
  relay->stream->discard_input();
  // Unknown until it is answered: a wish that is taken back meanwhile is not fulfilled yet.
  if (relay->shown.at(step.light) != step.on) relay->shown.at(step.light).reset();
  auto writing = write_text(relay, command + relay->dialect.line_end, deadline);
  const auto written = co_await std::move(writing);
  if (!written) co_return written.error();
  if (relay->stopped) co_return stopped_error();
  if (!light.reply.empty()) {
    auto reading = read_line(relay, deadline);
    const auto line = co_await std::move(reading);
    if (!line && line.error().code == base::ErrorCode::kNoReply) {
      co_return base::Error{base::ErrorCode::kNoReply,
                            at + ": no reply to '" + command + "' within " +
                                std::to_string(relay->dialect.reply_timeout.count()) + " ms"};
    }
    if (!line) co_return line.error();
    if (*line != light.reply) {
      co_return base::Error{base::ErrorCode::kMalformed, at + ": expected '" + light.reply +
                                                             "' in reply to '" + command + "', found '" +
                                                             shown_text(*line) + "'"};
    }
  }
  relay->shown.at(step.light) = step.on;
  relay->owed.at(step.light) = false;
  co_return base::Done{};
}

Awaitable<base::Outcome> pass_over(RelayPtr relay, Deadline until) {
  const std::shared_ptr<ByteStream> stream = relay->stream;
  std::array<std::byte, 64> chunk{};
  for (;;) {
    auto pending = stream->read_some(chunk, until);
    const auto count = co_await std::move(pending);
    if (!count && count.error().code == base::ErrorCode::kNoReply) co_return base::Done{};
    if (!count) co_return count.error();
    if (Clock::now() >= until) co_return base::Done{};  // one that never is silent
  }
}

// Reset, then every light off. One that does not answer is told twice: it may take the first command for the
// rest of one that a last run has left unfinished.
Awaitable<base::Outcome> begin(RelayPtr relay) {
  for (const std::string& command : relay->dialect.reset) {
    auto writing =
        write_text(relay, command + relay->dialect.line_end, Clock::now() + relay->dialect.reply_timeout);
    const auto written = co_await std::move(writing);
    if (!written) co_return written.error();
  }
  if (!relay->dialect.reset.empty()) {
    auto passing = pass_over(relay, Clock::now() + relay->dialect.reset_pause);
    const auto passed = co_await std::move(passing);
    if (!passed) co_return passed.error();
  }
  for (const bool again : {false, true}) {
    for (std::size_t i = 0; i < relay->dialect.lights.size(); ++i) {
      if (again && !relay->dialect.lights[i].reply.empty()) continue;
      if (relay->stopped) co_return stopped_error();
      auto sending = send_step(relay, {i, false});
      const auto sent = co_await std::move(sending);
      if (!sent) co_return sent.error();
    }
  }
  co_return base::Done{};
}

// When there will be something to do by itself: a refresh, or a wish that is not repeated.
Clock::time_point next_turn(const RelayState& relay, Clock::time_point refreshed) {
  Clock::time_point next = Clock::time_point::max();
  if (relay.dialect.refresh > milliseconds(0)) next = refreshed + relay.dialect.refresh;
  for (std::size_t i = 0; i < relay.dialect.lights.size(); ++i) {
    if (relay.shown.at(i).value_or(true)) next = std::min(next, relay.told + kWishLasts);
  }
  return next;
}

Awaitable<base::Error> keep_as_wanted(RelayPtr relay) {
  Clock::time_point refreshed = Clock::now();
  while (!relay->stopped) {
    const Clock::time_point now = Clock::now();
    if (relay->dialect.refresh > milliseconds(0) && now - refreshed >= relay->dialect.refresh) {
      refreshed = now;
      relay->owed.fill(true);
    }
    if (const auto step = next_step(*relay, now)) {
      auto sending = send_step(relay, *step);
      const auto sent = co_await std::move(sending);
      if (!sent) co_return sent.error();
      continue;
    }
    relay->wake.expires_at(next_turn(*relay, refreshed));
    co_await relay->wake.async_wait(asio::as_tuple(asio::use_awaitable));
  }
  co_return stopped_error();
}

Awaitable<base::Error> one_connection(RelayPtr relay) {
  auto opening = open_port(relay->executor, relay->port);
  auto opened = co_await std::move(opening);
  if (!opened) co_return opened.error();
  relay->stream = *std::move(opened);
  relay->shown.fill(std::nullopt);
  relay->owed.fill(false);
  auto beginning = begin(relay);
  const auto begun = co_await std::move(beginning);
  if (!begun) co_return begun.error();
  relay->trouble.reset();
  relay->ready = true;
  auto keeping = keep_as_wanted(relay);
  auto why = co_await std::move(keeping);
  relay->ready = false;
  co_return why;
}

}  // namespace

std::optional<RelayStep> next_step(const RelayState& relay, Clock::time_point now) {
  for (const bool on : {false, true}) {
    for (std::size_t i = 0; i < relay.dialect.lights.size(); ++i) {
      if (relay.wants(i, now) == on && (relay.shown.at(i) != on || relay.owed.at(i))) return RelayStep{i, on};
    }
  }
  return std::nullopt;
}

Awaitable<void> leave_relay_off(RelayPtr relay) {
  const std::shared_ptr<ByteStream> stream = relay->stream;
  if (!stream || relay->writing) co_return;
  std::string text = relay->dialect.line_end;  // ends whatever command was cut short
  for (const RelayLight& light : relay->dialect.lights) text += light.off + relay->dialect.line_end;
  auto writing = write_text(relay, std::move(text), Clock::now() + kLastWrite);
  // Nobody is left to hear of a failure: what led here has been told, or the device was stopped.
  static_cast<void>(co_await std::move(writing));
  stream->discard_input();  // a TCP peer would get a reset for what is unread, and lose the last bytes
  stream->close();
  relay->stream.reset();
}

Awaitable<void> keep_relay(RelayPtr relay) {
  while (!relay->stopped) {
    auto connecting = one_connection(relay);
    base::Error why = co_await std::move(connecting);
    auto leaving = leave_relay_off(relay);
    co_await std::move(leaving);
    if (relay->stopped) break;
    relay->trouble = std::move(why);
    relay->rest.expires_after(kRest);
    co_await relay->rest.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

}  // namespace crestgate::driver
