// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/: a ByteStream over any Asio object with async_read_some and async_write_some.
//
// Only single reads and writes are ever cancelled: a cancelled composed read loses the bytes it had already
// taken.

#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/bind_cancellation_slot.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/cancellation_signal.hpp>
#include <boost/asio/error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "base/expects.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

// Cancels one operation when its deadline passes, and remembers that it did.
class DeadlineGuard : public std::enable_shared_from_this<DeadlineGuard> {
 public:
  explicit DeadlineGuard(const boost::asio::any_io_executor& executor) : timer_(executor) {}

  boost::asio::cancellation_slot arm(Deadline deadline) {
    expired_ = false;
    const std::uint64_t turn = ++turn_;
    timer_.expires_at(deadline);
    timer_.async_wait([self = shared_from_this(), turn](const boost::system::error_code& error) {
      // A timer that fired just before disarm() must not reach the next operation.
      if (error || self->turn_ != turn) return;
      self->expired_ = true;
      self->signal_.emit(boost::asio::cancellation_type::total);
    });
    return signal_.slot();
  }
  void disarm() {
    ++turn_;
    timer_.cancel();
  }
  [[nodiscard]] bool expired() const { return expired_; }

 private:
  boost::asio::steady_timer timer_;
  boost::asio::cancellation_signal signal_;
  std::uint64_t turn_ = 0;
  bool expired_ = false;
};

// One meaning for all the ways in which a channel says that it is gone.
inline bool means_gone(const boost::system::error_code& error) {
  if (error == boost::asio::error::eof || error == boost::asio::error::operation_aborted) return true;
  switch (error.value()) {
    case EIO:
    case ENODEV:
    case ENXIO:
    case EBADF:
    case EPIPE:
    case ECONNRESET:
    case ECONNABORTED:
    case ENOTCONN:
    case ETIMEDOUT:  // TCP gave up on an unreachable peer
    case EHOSTUNREACH:
    case ENETUNREACH:
      return true;
    default:
      return false;
  }
}

inline base::Error stream_error(const boost::system::error_code& error, const std::string& name,
                                const char* doing) {
  if (error == boost::asio::error::operation_aborted) {
    return {base::ErrorCode::kDisconnected, name + ": closed while " + doing};
  }
  const auto code = means_gone(error) ? base::ErrorCode::kDisconnected : base::ErrorCode::kIo;
  return {code, name + ": " + (means_gone(error) ? "gone while " : "failed while ") + doing + " (" +
                    error.message() + ")"};
}

// What a kind of channel does besides reading and writing.
template <class Object>
struct AsioStreamHooks {
  void (*discard)(Object&) = nullptr;
  void (*before_close)(Object&) = nullptr;
};

template <class Object>
class AsioStream final : public ByteStream {
 public:
  AsioStream(Object object, std::string name, AsioStreamHooks<Object> hooks)
      : shared_(std::make_shared<Shared>(std::move(object), std::move(name), hooks)) {}
  AsioStream(const AsioStream&) = delete;
  AsioStream& operator=(const AsioStream&) = delete;
  AsioStream(AsioStream&&) = delete;
  AsioStream& operator=(AsioStream&&) = delete;
  ~AsioStream() override { shared_->close(); }

  Awaitable<base::Outcome> write(std::span<const std::byte> bytes, Deadline deadline) override {
    return write_all(shared_, bytes, deadline);
  }
  Awaitable<base::Result<std::size_t>> read_some(std::span<std::byte> into, Deadline deadline) override {
    CRESTGATE_EXPECTS(!into.empty());
    return read_once(shared_, into, deadline);
  }
  void discard_input() override {
    if (shared_->object.is_open()) shared_->hooks.discard(shared_->object);
  }
  void close() override { shared_->close(); }
  [[nodiscard]] std::string describe() const override { return shared_->name; }

 private:
  // Shared with the waiting coroutines, so that they survive the stream.
  struct Shared {
    Shared(Object made, std::string called, AsioStreamHooks<Object> with)
        : object(std::move(made)),
          name(std::move(called)),
          hooks(with),
          reading(std::make_shared<DeadlineGuard>(object.get_executor())),
          writing(std::make_shared<DeadlineGuard>(object.get_executor())) {}
    void close() {
      if (!object.is_open()) return;
      if (hooks.before_close != nullptr) hooks.before_close(object);
      boost::system::error_code ignored;  // the descriptor is gone in any case
      object.close(ignored);
    }
    Object object;
    std::string name;
    AsioStreamHooks<Object> hooks;
    std::shared_ptr<DeadlineGuard> reading;
    std::shared_ptr<DeadlineGuard> writing;
  };

  static Awaitable<base::Outcome> write_all(std::shared_ptr<Shared> self, std::span<const std::byte> bytes,
                                            Deadline deadline) {
    namespace asio = boost::asio;
    std::size_t sent = 0;
    while (sent < bytes.size()) {
      const asio::cancellation_slot slot = self->writing->arm(deadline);
      const auto rest = asio::buffer(bytes.data() + sent, bytes.size() - sent);
      auto pending = self->object.async_write_some(
          rest, asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
      const auto [error, count] = co_await std::move(pending);
      self->writing->disarm();
      sent += count;
      if (!error) continue;
      if (self->writing->expired() && self->object.is_open()) {
        co_return base::Error{base::ErrorCode::kNoReply, self->name + ": took " + std::to_string(sent) +
                                                             " of " + std::to_string(bytes.size()) +
                                                             " bytes before the deadline"};
      }
      co_return stream_error(error, self->name, "writing");
    }
    co_return base::Done{};
  }

  static Awaitable<base::Result<std::size_t>> read_once(std::shared_ptr<Shared> self,
                                                        std::span<std::byte> into, Deadline deadline) {
    namespace asio = boost::asio;
    const asio::cancellation_slot slot = self->reading->arm(deadline);
    auto pending =
        self->object.async_read_some(asio::buffer(into.data(), into.size()),
                                     asio::bind_cancellation_slot(slot, asio::as_tuple(asio::use_awaitable)));
    const auto [error, count] = co_await std::move(pending);
    self->reading->disarm();
    if (!error) co_return count;
    if (self->reading->expired() && self->object.is_open()) {
      co_return base::Error{base::ErrorCode::kNoReply, self->name + ": no byte before the deadline"};
    }
    co_return stream_error(error, self->name, "reading");
  }

  std::shared_ptr<Shared> shared_;
};

}  // namespace crestgate::driver
