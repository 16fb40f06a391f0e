// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/pipe_stream.h"

#include <algorithm>
#include <deque>
#include <string>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "base/expects.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;

// One direction.
struct Channel {
  Channel(const asio::any_io_executor& executor, std::size_t most)
      : capacity(most), not_empty(executor), not_full(executor) {}
  void close_writer() {
    writer_closed = true;
    wake();
  }
  void close_reader() {
    reader_closed = true;
    bytes.clear();
    wake();
  }
  void wake() {
    not_empty.cancel();
    not_full.cancel();
  }
  std::size_t capacity;
  std::deque<std::byte> bytes;
  asio::steady_timer not_empty;
  asio::steady_timer not_full;
  bool writer_closed = false;
  bool reader_closed = false;
};

base::Error gone(const char* doing) {
  return {base::ErrorCode::kDisconnected, std::string("pipe: closed while ") + doing};
}

Awaitable<base::Outcome> write_channel(std::shared_ptr<Channel> channel, std::span<const std::byte> bytes,
                                       Deadline deadline) {
  std::size_t sent = 0;
  while (true) {
    if (channel->writer_closed || channel->reader_closed) co_return gone("writing");
    const std::size_t room = std::min(channel->capacity - channel->bytes.size(), bytes.size() - sent);
    const auto part = bytes.subspan(sent, room);
    channel->bytes.insert(channel->bytes.end(), part.begin(), part.end());
    sent += room;
    if (room > 0) channel->not_empty.cancel();
    if (sent == bytes.size()) co_return base::Done{};
    if (std::chrono::steady_clock::now() >= deadline) {
      co_return base::Error{base::ErrorCode::kNoReply, "pipe: took " + std::to_string(sent) + " of " +
                                                           std::to_string(bytes.size()) +
                                                           " bytes before the deadline"};
    }
    channel->not_full.expires_at(deadline);
    co_await channel->not_full.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

Awaitable<base::Result<std::size_t>> read_channel(std::shared_ptr<Channel> channel, std::span<std::byte> into,
                                                  Deadline deadline) {
  while (true) {
    if (channel->reader_closed) co_return gone("reading");
    if (!channel->bytes.empty()) {
      const std::size_t count = std::min(into.size(), channel->bytes.size());
      const auto end = channel->bytes.begin() + static_cast<std::ptrdiff_t>(count);
      std::copy(channel->bytes.begin(), end, into.begin());
      channel->bytes.erase(channel->bytes.begin(), end);
      channel->not_full.cancel();
      co_return count;
    }
    if (channel->writer_closed) co_return gone("reading");
    if (std::chrono::steady_clock::now() >= deadline) {
      co_return base::Error{base::ErrorCode::kNoReply, "pipe: no byte before the deadline"};
    }
    channel->not_empty.expires_at(deadline);
    co_await channel->not_empty.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

class PipeStream final : public ByteStream {
 public:
  PipeStream(std::shared_ptr<Channel> in, std::shared_ptr<Channel> out)
      : in_(std::move(in)), out_(std::move(out)) {}
  PipeStream(const PipeStream&) = delete;
  PipeStream& operator=(const PipeStream&) = delete;
  PipeStream(PipeStream&&) = delete;
  PipeStream& operator=(PipeStream&&) = delete;
  // Cancelling a timer throws only when its service is broken: then ending is right.
  ~PipeStream() override { PipeStream::close(); }  // NOLINT(bugprone-exception-escape)

  Awaitable<base::Outcome> write(std::span<const std::byte> bytes, Deadline deadline) override {
    return write_channel(out_, bytes, deadline);
  }
  Awaitable<base::Result<std::size_t>> read_some(std::span<std::byte> into, Deadline deadline) override {
    CRESTGATE_EXPECTS(!into.empty());
    return read_channel(in_, into, deadline);
  }
  void discard_input() override {
    in_->bytes.clear();
    in_->not_full.cancel();
  }
  void close() override {
    out_->close_writer();
    in_->close_reader();
  }
  [[nodiscard]] std::string describe() const override { return "pipe"; }

 private:
  std::shared_ptr<Channel> in_;
  std::shared_ptr<Channel> out_;
};

}  // namespace

StreamPair make_pipe(const asio::any_io_executor& executor, std::size_t capacity) {
  CRESTGATE_EXPECTS(capacity > 0);
  const auto there = std::make_shared<Channel>(executor, capacity);
  const auto back = std::make_shared<Channel>(executor, capacity);
  return {std::make_unique<PipeStream>(back, there), std::make_unique<PipeStream>(there, back)};
}

}  // namespace crestgate::driver
