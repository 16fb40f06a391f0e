// SPDX-License-Identifier: Apache-2.0
#pragma once
// Reads and writes one Asio stream. Included by .cpp files only.

#include <array>
#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <utility>

#include <boost/asio/buffer.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>
#include <boost/system/error_code.hpp>

#include "simulator/link/bytes.h"

namespace crestgate::simulator {

// Threads  the stream's executor.
// Lifetime held by shared_ptr; after close() neither function is called again.
template <class Stream>
class StreamPump : public std::enable_shared_from_this<StreamPump<Stream>> {
 public:
  StreamPump(Stream stream, std::function<void(ByteView)> on_bytes, std::function<void()> on_gone)
      : stream_(std::move(stream)), on_bytes_(std::move(on_bytes)), on_gone_(std::move(on_gone)) {}

  void start() { read(); }

  void send(const Bytes& bytes) {
    // Far more than any traverse: only a peer that stopped reading fills it, and a line has no memory.
    constexpr std::size_t kMostWaiting = std::size_t{4} << 20U;
    if (closed_ || bytes.empty() || waiting_.size() + bytes.size() > kMostWaiting) return;
    waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
    if (writing_.empty()) write();
  }

  // While held at most one read's worth leaves the stream; it is handed on when the hold ends.
  void hold(bool held) {
    const bool ends = held_ && !held;
    held_ = held;
    if (!ends || !held_size_) return;
    // Not from here: whoever calls is not ready for bytes.
    boost::asio::post(stream_.get_executor(), [self = this->shared_from_this()] {
      if (self->closed_ || self->held_ || !self->held_size_) return;
      self->hand_on(*std::exchange(self->held_size_, std::nullopt));
    });
  }

  void discard_waiting() { waiting_.clear(); }

  void close() {
    closed_ = true;
    boost::system::error_code ignored;  // a stream that cannot be closed is gone already
    stream_.close(ignored);
  }

 private:
  void read() {
    stream_.async_read_some(
        boost::asio::buffer(incoming_),
        [self = this->shared_from_this()](const boost::system::error_code& problem, std::size_t size) {
          if (self->closed_) return;
          if (problem) return self->gone();
          if (self->held_) {
            self->held_size_ = size;
          } else {
            self->hand_on(size);
          }
        });
  }

  void hand_on(std::size_t size) {
    on_bytes_(ByteView(incoming_).first(size));
    if (!closed_) read();
  }

  void write() {
    std::swap(writing_, waiting_);
    boost::asio::async_write(
        stream_, boost::asio::buffer(writing_),
        [self = this->shared_from_this()](const boost::system::error_code& problem, std::size_t) {
          self->writing_.clear();
          if (self->closed_) return;
          if (problem) return self->gone();
          if (!self->waiting_.empty()) self->write();
        });
  }

  void gone() {
    close();
    on_gone_();
  }

  Stream stream_;
  std::function<void(ByteView)> on_bytes_;
  std::function<void()> on_gone_;
  std::array<std::uint8_t, 4096> incoming_{};
  Bytes waiting_;
  Bytes writing_;
  bool closed_ = false;
  bool held_ = false;
  std::optional<std::size_t> held_size_;  // of what was read while held
};

}  // namespace crestgate::simulator
