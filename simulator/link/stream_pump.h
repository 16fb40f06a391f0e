// SPDX-License-Identifier: Apache-2.0
#pragma once
// Reads and writes one Asio stream. Included by .cpp files only.

#include <array>
#include <cstddef>
#include <functional>
#include <memory>
#include <utility>

#include <boost/asio/buffer.hpp>
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
          self->on_bytes_(ByteView(self->incoming_).first(size));
          if (!self->closed_) self->read();
        });
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
};

}  // namespace crestgate::simulator
