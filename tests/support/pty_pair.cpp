// SPDX-License-Identifier: Apache-2.0
#include "support/pty_pair.h"

#include <array>
#include <cstdlib>
#include <stdexcept>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <fcntl.h>
#include <termios.h>

#include "driver/stream/asio_stream.h"

namespace crestgate::tests {
namespace {

using Descriptor = boost::asio::posix::stream_descriptor;

void discard_master(Descriptor& master) { ::tcflush(master.native_handle(), TCIFLUSH); }

}  // namespace

Pty open_pty(const boost::asio::any_io_executor& executor) {
  const int fd = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
  std::array<char, 64> name{};
  if (fd < 0 || ::grantpt(fd) != 0 || ::unlockpt(fd) != 0 || ::ptsname_r(fd, name.data(), name.size()) != 0) {
    throw std::runtime_error("no pseudo-terminal");
  }
  const driver::AsioStreamHooks<Descriptor> hooks{.discard = discard_master, .before_close = nullptr};
  return {std::make_unique<driver::AsioStream<Descriptor>>(Descriptor(executor, fd), "pty master", hooks),
          name.data()};
}

}  // namespace crestgate::tests
