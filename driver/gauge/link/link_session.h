// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/: one open link. One coroutine reads and sorts; whoever asks waits for what it asked.

#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/steady_timer.hpp>

#include "base/result.h"
#include "driver/gauge/gauge.h"
#include "driver/gauge/link/framer.h"
#include "driver/gauge/link/link_gauge.h"
#include "driver/gauge/link/messages.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver::link {

using SteadyTime = std::chrono::steady_clock::time_point;

// Steps are static coroutines that hold the session, so that it survives its owner while they wait.
class Session : public std::enable_shared_from_this<Session> {
 public:
  Session(const boost::asio::any_io_executor& executor, std::unique_ptr<ByteStream> stream,
          LinkOptions options);

  void start();                         // the reader
  void fail(const base::Error& error);  // ends the session; the first error stays

  // Sends `body` as a new request and waits for the answer, again and again with the same sequence. A refusal
  // is an error. Pre  a Turn is held.
  static Awaitable<base::Result<Message>> ask(std::shared_ptr<Session> self, Body body,
                                              std::chrono::milliseconds allowed);

  // One try of a request whose sequence the caller keeps.
  static Awaitable<base::Outcome> send(std::shared_ptr<Session> self, Message message);

  // The next message for the open request or traverse. kNoReply at the deadline, kCancelled when an abort
  // waits, or the error that ended the session.
  static Awaitable<base::Result<Message>> next(std::shared_ptr<Session> self, SteadyTime deadline);

  // Waits until nobody holds a turn.
  static Awaitable<void> wait_idle(std::shared_ptr<Session> self);

  std::uint16_t new_sequence();
  std::uint32_t new_traverse_id() { return next_traverse_id_++; }
  void expect_sequence(std::optional<std::uint16_t> sequence);
  void expect_traverse(std::optional<std::uint32_t> id);

  // True: the reader sees bytes that are no frames, so silence is not the trouble.
  [[nodiscard]] std::uint64_t damage() const;
  [[nodiscard]] base::Error no_answer(const std::string& what, std::uint64_t damage_before) const;
  [[nodiscard]] static base::Error refusal_error(const Refused& refused);

  [[nodiscard]] bool failed() const { return failure_.has_value(); }
  [[nodiscard]] const base::Error& failure() const { return *failure_; }
  [[nodiscard]] bool busy() const { return busy_; }
  [[nodiscard]] const LinkOptions& options() const { return options_; }
  [[nodiscard]] std::string where() const { return stream_->describe(); }
  [[nodiscard]] GaugeHealth health() const;

  // A newer word about the stylus than the last pulse has come: what that pulse said no longer holds.
  void forget_pulse() { last_pulse_.reset(); }

  void want_abort(bool wanted);
  [[nodiscard]] bool abort_wanted() const { return abort_wanted_; }
  void set_boot_id(std::uint64_t boot_id) { boot_id_ = boot_id; }
  [[nodiscard]] std::optional<std::uint64_t> boot_id() const { return boot_id_; }
  void on_failure(std::function<void()> listener) { failure_listener_ = std::move(listener); }
  void count_repeat() { ++repeats_; }
  void count_resend() { ++resends_; }
  void count_unexpected() { ++unexpected_; }

 private:
  friend class Turn;
  static Awaitable<void> read_until_failure(std::shared_ptr<Session> self);
  void take(Message message);
  void take_pulse(const GaugePulse& pulse);
  [[nodiscard]] bool is_expected(const Message& message) const;
  void deliver(Message message);

  LinkOptions options_;
  std::unique_ptr<ByteStream> stream_;
  boost::asio::any_io_executor executor_;
  boost::asio::steady_timer wake_;  // cancelled when something changed for the waiting request
  boost::asio::steady_timer idle_;  // cancelled when a turn ends
  Framer framer_;
  std::deque<Message> inbox_;
  std::optional<std::uint16_t> expected_sequence_;
  std::optional<std::uint32_t> expected_traverse_;
  std::optional<base::Error> failure_;
  std::function<void()> failure_listener_;
  bool busy_ = false;
  bool abort_wanted_ = false;
  bool clean_start_ = false;  // the far end has seen a zero since the last failed or first write
  SteadyTime last_write_{};
  SteadyTime opened_;
  std::optional<SteadyTime> last_byte_;
  SteadyTime last_frame_;
  std::uint16_t next_sequence_ = 1;
  std::uint32_t next_traverse_id_ = 1;
  std::optional<std::uint64_t> boot_id_;
  std::optional<GaugePulse> last_pulse_;
  std::uint64_t repeats_ = 0;
  std::uint64_t resends_ = 0;
  std::uint64_t unexpected_ = 0;
};

// The right to ask: one at a time. Released when it goes out of scope.
class Turn {
 public:
  explicit Turn(Session& session) : session_(session) { session_.busy_ = true; }
  Turn(const Turn&) = delete;
  Turn& operator=(const Turn&) = delete;
  Turn(Turn&&) = delete;
  Turn& operator=(Turn&&) = delete;
  ~Turn();  // NOLINT(bugprone-exception-escape): cancelling a timer throws only on a broken reactor

 private:
  Session& session_;
};

}  // namespace crestgate::driver::link
