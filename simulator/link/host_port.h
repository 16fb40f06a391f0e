// SPDX-License-Identifier: Apache-2.0
#pragma once
// The port at which a host finds the gauge. Included by .cpp files only.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include <boost/asio/io_context.hpp>

#include "base/result.h"
#include "simulator/link/bytes.h"
#include "simulator/link/upset.h"

namespace crestgate::simulator {

struct HostPortEvents {
  std::function<void(ByteView)> on_bytes;
  std::function<void()> on_opened;  // a host came; a pseudo-terminal cannot tell and says it when plugged
};

class HostPort {
 public:
  virtual ~HostPort() = default;
  // Makes the port there; called again after unplug(). A socket always comes back as it was.
  virtual base::Outcome plug(const Replug& how) = 0;
  virtual void unplug() = 0;
  // While held, what the host sends waits in the port.
  virtual void hold(bool held) = 0;
  // `somebody_listens` false: what waits unread from earlier is thrown away first.
  virtual void send(const Bytes& bytes, bool somebody_listens) = 0;
  [[nodiscard]] virtual std::string name() const = 0;
};

std::unique_ptr<HostPort> make_pty_port(boost::asio::io_context& io, const std::string& link_path,
                                        HostPortEvents events);
// Loopback only; 0 takes any free port. One host at a time, a second is turned away.
std::unique_ptr<HostPort> make_tcp_port(boost::asio::io_context& io, std::uint16_t port,
                                        HostPortEvents events);

}  // namespace crestgate::simulator
