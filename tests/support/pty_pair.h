// SPDX-License-Identifier: Apache-2.0
#pragma once
// A real pseudo-terminal: the master as a stream, the slave as a path to open.

#include <memory>
#include <string>

#include "driver/stream/byte_stream.h"

namespace crestgate::tests {

struct Pty {
  std::unique_ptr<driver::ByteStream> master;
  std::string slave_path;
};

// Throws std::runtime_error when the system gives none.
[[nodiscard]] Pty open_pty(const boost::asio::any_io_executor& executor);

}  // namespace crestgate::tests
