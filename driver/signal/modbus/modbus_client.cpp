// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/modbus_client.h"

#include <array>
#include <optional>
#include <span>
#include <utility>

#include <boost/asio/ip/tcp.hpp>

#include "base/expects.h"
#include "driver/signal/modbus/backoff.h"
#include "driver/stream/asio_stream.h"
#include "driver/stream/socket_tuning.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using base::ErrorCode;
using Data = std::vector<std::uint8_t>;

Deadline now() { return std::chrono::steady_clock::now(); }

// Only the newest few of the answers that are missing are still waited for.
constexpr std::size_t kMostGivenUp = 16;

// Differs between clients and starts: spreads attempts, and makes an old connection's numbers unlikely to fit.
std::uint64_t some_seed(const void* where) {
  return static_cast<std::uint64_t>(now().time_since_epoch().count()) ^
         reinterpret_cast<std::uintptr_t>(where);
}

}  // namespace

struct ModbusClient::Parts {
  Parts(const asio::any_io_executor& on, ModbusClientOptions with, tcp::endpoint where)
      : executor(on),
        options(std::move(with)),
        peer(std::move(where)),
        name(options.host + ":" + std::to_string(options.port) + " unit " + std::to_string(options.unit)),
        socket(on),
        pause(on),
        guard(std::make_shared<DeadlineGuard>(on)),
        backoff(options.backoff_shortest, options.backoff_longest, some_seed(this)),
        transaction(static_cast<std::uint16_t>(some_seed(this) >> 10U)) {}

  [[nodiscard]] base::Error error(ErrorCode code, const std::string& what) const {
    return {code, "modbus " + name + ": " + what};
  }
  [[nodiscard]] base::Error cancelled() const { return error(ErrorCode::kCancelled, "stopped"); }

  void close();
  base::Error lose(ErrorCode code, const std::string& why);
  Awaitable<base::Outcome> send(Data bytes, Deadline deadline);
  std::optional<base::Result<Data>> look_at_input();
  base::Error give_up();
  Awaitable<base::Result<Data>> await_answer(Deadline deadline);
  void drain();
  bool send_last();

  asio::any_io_executor executor;
  ModbusClientOptions options;
  tcp::endpoint peer;
  std::string name;
  tcp::socket socket;
  asio::steady_timer pause;
  std::shared_ptr<DeadlineGuard> guard;
  Backoff backoff;
  Deadline next_attempt = Deadline::min();
  std::uint16_t transaction;
  std::optional<ModbusAsked> asked;
  std::vector<std::uint16_t> given_up;
  unsigned unanswered = 0;  // in a row
  Data input;
  ModbusClientCounters counters;
  bool is_connected = false;
  bool sending = false;  // a part of a request may be on its way
  bool left = false;
  ModbusQuestion last;  // what leave() was told to send
  bool last_sent = false;
  bool finishing = false;
};

// Resets the connection unless we are leaving: then what was sent last shall still arrive.
void ModbusClient::Parts::close() {
  if (!socket.is_open()) return;
  boost::system::error_code ignored;  // the descriptor is gone in any case
  if (!left) socket.set_option(asio::socket_base::linger(true, 0), ignored);
  socket.close(ignored);
  if (std::exchange(is_connected, false)) ++counters.lost;
}

base::Error ModbusClient::Parts::lose(ErrorCode code, const std::string& why) {
  close();
  next_attempt = now() + backoff.next();
  return error(code, why);
}

// The kernel takes a request whole as a rule, so that `sending` is seldom seen from outside.
Awaitable<base::Outcome> ModbusClient::Parts::send(Data bytes, Deadline deadline) {
  boost::system::error_code failed;
  std::size_t sent = socket.write_some(asio::buffer(bytes), failed);
  sending = true;
  while (sent < bytes.size()) {
    if (failed && failed != asio::error::would_block) {
      co_return lose(ErrorCode::kDisconnected, "gone while sending (" + failed.message() + ")");
    }
    const asio::cancellation_slot slot = guard->arm(deadline);
    auto pending =
        socket.async_write_some(asio::buffer(bytes.data() + sent, bytes.size() - sent),
                                asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
    const auto [error, count] = co_await std::move(pending);
    guard->disarm();
    sent += count;
    failed = error;
    if (left) {
      sending = sent < bytes.size();
      co_return cancelled();
    }
    if (guard->expired()) co_return lose(ErrorCode::kDisconnected, "it takes no more bytes");
  }
  sending = false;
  co_return base::Done{};
}

// What the bytes that have come mean for the open question; nothing: wait for more.
std::optional<base::Result<Data>> ModbusClient::Parts::look_at_input() {
  while (true) {
    const ModbusAnswer answer = parse_answer(input, asked, given_up);
    if (answer.kind == AnswerKind::kIncomplete) return std::nullopt;
    if (answer.kind == AnswerKind::kMalformed) {
      ++counters.malformed;
      return lose(ErrorCode::kMalformed, "sent " + std::string(answer.fault));
    }
    const Data data(answer.data.begin(), answer.data.end());
    input.erase(input.begin(), input.begin() + static_cast<std::ptrdiff_t>(answer.size));
    if (answer.kind == AnswerKind::kLate) {
      ++counters.late;
      std::erase(given_up, answer.transaction);
      continue;
    }
    backoff.reset();
    unanswered = 0;
    if (answer.kind == AnswerKind::kTaken) {
      ++counters.answers;
      return data;
    }
    ++counters.exceptions;
    return error(exception_error(answer.exception),
                 in_words(asked->question) + " refused: " + std::string(exception_words(answer.exception)) +
                     " (exception " + std::to_string(answer.exception) + ")");
  }
}

base::Error ModbusClient::Parts::give_up() {
  ++counters.unanswered;
  if (given_up.size() >= kMostGivenUp) given_up.erase(given_up.begin());
  given_up.push_back(asked->transaction);
  const std::string why = in_words(asked->question) + " not answered within " +
                          std::to_string(options.response_timeout.count()) + " ms";
  // After several the connection may be half-open; only a new one can tell.
  if (++unanswered >= options.unanswered_limit) return lose(ErrorCode::kNoReply, why);
  return error(ErrorCode::kNoReply, why);
}

Awaitable<base::Result<Data>> ModbusClient::Parts::await_answer(Deadline deadline) {
  std::array<std::uint8_t, 512> buffer{};
  while (true) {
    if (const auto found = look_at_input()) co_return *found;
    if (now() >= deadline) co_return give_up();  // a flood must not outrun the timer
    const asio::cancellation_slot slot = guard->arm(deadline);
    auto pending = socket.async_read_some(
        asio::buffer(buffer), asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
    const auto [failed, count] = co_await std::move(pending);
    guard->disarm();
    input.insert(input.end(), buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(count));
    if (left && !finishing) co_return cancelled();  // `asked` is the last question by now
    if (!failed) continue;
    if (guard->expired()) co_return give_up();
    co_return lose(ErrorCode::kDisconnected,
                   "gone while " + in_words(asked->question) + " (" + failed.message() + ")");
  }
}

// Takes what has come already, without waiting: a close with unread bytes would reset the connection.
void ModbusClient::Parts::drain() {
  constexpr int kMostTurns = 16;
  std::array<std::uint8_t, 512> buffer{};
  boost::system::error_code empty;
  for (int turn = 0; turn < kMostTurns && !empty; ++turn) {
    const std::size_t got = socket.read_some(asio::buffer(buffer), empty);
    input.insert(input.end(), buffer.begin(), buffer.begin() + static_cast<std::ptrdiff_t>(got));
  }
}

// False: not now, a part of another request is on its way.
bool ModbusClient::Parts::send_last() {
  if (!is_connected || sending) return false;
  drain();
  if (asked) given_up.push_back(asked->transaction);
  asked = ModbusAsked{++transaction, options.unit, last};
  const Data bytes = request_bytes(*asked);
  boost::system::error_code failed;
  last_sent = socket.write_some(asio::buffer(bytes), failed) == bytes.size();
  return last_sent;
}

ModbusClient::ModbusClient(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
ModbusClient::~ModbusClient() = default;

base::Result<std::unique_ptr<ModbusClient>> ModbusClient::make(const asio::any_io_executor& executor,
                                                               const ModbusClientOptions& options) {
  const auto invalid = [&](const std::string& what) {
    return base::Error{ErrorCode::kInvalidConfig,
                       "modbus " + options.host + ":" + std::to_string(options.port) + ": " + what};
  };
  boost::system::error_code error;
  const asio::ip::address host = asio::ip::make_address(options.host, error);
  if (error) return invalid("expected an address in numbers, such as 192.168.0.20");
  if (options.port == 0) return invalid("expected a port from 1 to 65535");
  if (options.unit > 247 && options.unit != 255) {
    return invalid("unit " + std::to_string(options.unit) + ": expected 0 to 247, or 255");
  }
  if (options.connect_timeout.count() <= 0 || options.response_timeout.count() <= 0 ||
      options.backoff_shortest.count() <= 0 || options.backoff_longest < options.backoff_shortest ||
      options.unanswered_limit == 0) {
    return invalid("times and limits must be above 0, and the longest wait not below the shortest");
  }
  return std::unique_ptr<ModbusClient>(
      new ModbusClient(std::make_unique<Parts>(executor, options, tcp::endpoint(host, options.port))));
}

Awaitable<base::Outcome> ModbusClient::connect() {
  Parts& parts = *parts_;
  CRESTGATE_EXPECTS(!parts.is_connected);
  while (!parts.left && now() < parts.next_attempt) {
    parts.pause.expires_at(parts.next_attempt);
    co_await parts.pause.async_wait(asio::as_tuple(asio::use_awaitable));
  }
  if (parts.left) co_return parts.cancelled();
  const auto failed = [&parts](ErrorCode code, const std::string& why) {
    ++parts.counters.connect_failed;
    return parts.lose(code, why);
  };
  boost::system::error_code error;
  parts.socket = tcp::socket(parts.executor);
  parts.socket.open(parts.peer.protocol(), error);
  if (error || !tune_tcp_socket(parts.socket.native_handle())) {
    co_return failed(ErrorCode::kIo, "cannot make a socket");
  }
  const asio::cancellation_slot slot = parts.guard->arm(now() + parts.options.connect_timeout);
  auto pending = parts.socket.async_connect(
      parts.peer, asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
  const auto [refused] = co_await std::move(pending);
  parts.guard->disarm();
  if (parts.left) {
    parts.close();
    co_return parts.cancelled();
  }
  if (refused && parts.guard->expired()) co_return failed(ErrorCode::kNoReply, "no connection in time");
  if (refused) co_return failed(ErrorCode::kDisconnected, "cannot connect (" + refused.message() + ")");
  parts.socket.non_blocking(true, error);
  if (error) co_return failed(ErrorCode::kIo, "cannot make the socket non-blocking");
  parts.is_connected = true;
  parts.sending = false;
  parts.input.clear();
  parts.given_up.clear();
  parts.unanswered = 0;
  ++parts.counters.connected;
  co_return base::Done{};
}

bool ModbusClient::connected() const { return parts_->is_connected; }

Awaitable<base::Result<Data>> ModbusClient::ask(ModbusQuestion question) {
  Parts& parts = *parts_;
  if (parts.left) co_return parts.cancelled();
  CRESTGATE_EXPECTS(!parts.asked);
  if (!parts.is_connected) co_return parts.error(ErrorCode::kDisconnected, "not connected");
  // Nothing but late answers may have come while nothing was asked.
  if (const auto fault = parts.look_at_input()) co_return *fault;
  const Deadline deadline = now() + parts.options.response_timeout;
  parts.asked = ModbusAsked{++parts.transaction, parts.options.unit, std::move(question)};
  auto sending = parts.send(request_bytes(*parts.asked), deadline);
  const base::Outcome sent = co_await std::move(sending);
  base::Result<Data> answer = parts.cancelled();
  if (sent) {
    auto waiting = parts.await_answer(deadline);
    answer = co_await std::move(waiting);
  } else {
    answer = sent.error();
  }
  if (parts.left) co_return parts.cancelled();
  parts.asked.reset();
  co_return answer;
}

bool ModbusClient::leave(const ModbusQuestion& last) {
  Parts& parts = *parts_;
  if (std::exchange(parts.left, true)) return parts.last_sent;
  parts.last = last;
  parts.pause.cancel();
  boost::system::error_code ignored;  // nothing waits then
  if (parts.socket.is_open()) parts.socket.cancel(ignored);
  return parts.send_last();
}

Awaitable<void> ModbusClient::finish() {
  Parts& parts = *parts_;
  CRESTGATE_EXPECTS(parts.left);
  parts.finishing = true;
  if (parts.last_sent || parts.send_last()) {
    auto waiting = parts.await_answer(now() + parts.options.response_timeout);
    static_cast<void>(co_await std::move(waiting));  // whatever it is: there is nothing left to do about it
  }
  parts.close();
}

const std::string& ModbusClient::name() const { return parts_->name; }
ModbusClientCounters ModbusClient::counters() const { return parts_->counters; }

}  // namespace crestgate::driver
