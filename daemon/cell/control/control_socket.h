// SPDX-License-Identifier: Apache-2.0
#pragma once
// The door of a running cell for people on the same machine: a local socket that takes one line and answers one.

#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "base/result.h"

namespace boost::asio {
class io_context;
}

namespace crestgate::cell {

// Who may open the socket file may speak: its folder's permissions are the lock (mode 0660).
constexpr std::size_t kLongestControlLine = 64U << 10U;
constexpr std::size_t kMostControlClients = 8;

// Lifetime  the io_context outlives it. Threads  all calls and callbacks on the I/O thread; nothing blocks.
class ControlSocket {
 public:
  using Reply = std::function<void(std::string)>;  // called once, now or later; one line without its end
  using Answer = std::function<void(std::string line, Reply reply)>;

  // Purpose  listens at `path`; a socket file that nobody serves any more is replaced.
  // Errors   kBusy: another process serves it. kInvalidConfig: the path is too long for a socket, or names
  //          something that is no socket. kIo.
  static base::Result<std::unique_ptr<ControlSocket>> open(boost::asio::io_context& io,
                                                           const std::filesystem::path& path, Answer answer);
  virtual ~ControlSocket() = default;

  // Closes everything and takes the file away. May be called again.
  virtual void stop() = 0;
};

}  // namespace crestgate::cell
