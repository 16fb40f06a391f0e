// SPDX-License-Identifier: Apache-2.0
#pragma once
// Two ByteStreams that are each other's far end, in memory, for tests and for gauges that live in the
// process.

#include <cstddef>
#include <memory>
#include <utility>

#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

struct StreamPair {
  std::unique_ptr<ByteStream> near;
  std::unique_ptr<ByteStream> far;
};

// Each direction holds at most `capacity` bytes; a writer waits for room. Closing one end disconnects the
// other after it has read what was already sent. Pre  capacity > 0
[[nodiscard]] StreamPair make_pipe(const boost::asio::any_io_executor& executor,
                                   std::size_t capacity = 65536);

}  // namespace crestgate::driver
