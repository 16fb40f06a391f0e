// SPDX-License-Identifier: Apache-2.0
#pragma once
// A TCP connection (a serial server, a gauge with a network port) as a ByteStream.

#include <cstdint>
#include <memory>
#include <string>

#include "base/result.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

struct TcpAddress {
  std::string host;  // in numbers: looking a name up would block
  std::uint16_t port = 0;
};

// Purpose  connects, with small packets sent at once, and a dead peer noticed: probes after 5 s of silence,
//          every 2 s, 3 times; unanswered data give up after 10 s. A peer whose process hangs still answers
//          probes: only the protocol's own pulse notices that.
// Errors   kInvalidConfig: `host` is not an address in numbers. kNoReply: not connected before the deadline.
//          kDisconnected: refused or unreachable.
[[nodiscard]] Awaitable<base::Result<std::unique_ptr<ByteStream>>> open_tcp(
    boost::asio::any_io_executor executor, TcpAddress address, Deadline deadline);

}  // namespace crestgate::driver
