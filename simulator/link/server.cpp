// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/server.h"

#include <algorithm>
#include <chrono>
#include <csignal>
#include <exception>
#include <istream>
#include <memory>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/streambuf.hpp>
#include <boost/asio/write.hpp>

#include "base/expects.h"
#include "simulator/link/host_port.h"

namespace crestgate::simulator {

namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

// One connection to the control port: a line in, a line out.
class ControlSession : public std::enable_shared_from_this<ControlSession> {
 public:
  ControlSession(tcp::socket socket, std::function<std::string(std::string_view)> answer,
                 std::function<void()> answered)
      : socket_(std::move(socket)), answer_(std::move(answer)), answered_(std::move(answered)) {}

  void read() {
    asio::async_read_until(
        socket_, incoming_, '\n',
        [self = shared_from_this()](const boost::system::error_code& problem, std::size_t) {
          if (!problem) self->reply();  // else the peer left, or sent a line without an end
        });
  }

 private:
  void reply() {
    std::istream stream(&incoming_);
    std::string line;
    std::getline(stream, line);
    if (!line.empty() && line.back() == '\r') line.pop_back();
    outgoing_ = answer_(line) + "\n";
    asio::async_write(socket_, asio::buffer(outgoing_),
                      [self = shared_from_this()](const boost::system::error_code& problem, std::size_t) {
                        self->answered_();
                        if (!problem) self->read();
                      });
  }

  static constexpr std::size_t kLongestLine = 4096;
  tcp::socket socket_;
  std::function<std::string(std::string_view)> answer_;
  std::function<void()> answered_;
  asio::streambuf incoming_{kLongestLine};
  std::string outgoing_;
};

class Server {
 public:
  Server(Line& line, const ServeOptions& options, const ServeEvents& events)
      : line_(line), events_(events), timer_(io_), signals_(io_, SIGINT, SIGTERM), control_(io_) {
    const HostPortEvents port_events{.on_bytes = [this](ByteView bytes) { advance(bytes); },
                                     .on_opened = [this] { line_.port_opened(); }};
    port_ = options.pty_path ? make_pty_port(io_, *options.pty_path, port_events)
                             : make_tcp_port(io_, *options.tcp_port, port_events);
  }

  base::Outcome run(const ServeOptions& options) {
    if (auto plugged = port_->plug({}); !plugged) return plugged;
    std::optional<std::uint16_t> control_port;
    if (options.control_port) {
      if (auto listening = listen_for_control(*options.control_port); !listening) return listening;
      boost::system::error_code problem;
      control_port = control_.local_endpoint(problem).port();
    }
    signals_.async_wait([this](const boost::system::error_code& problem, int) {
      if (!problem) io_.stop();
    });
    events_.on_ready(port_->name(), control_port);
    advance({});
    io_.run();
    if (!failure_) return base::Done{};
    return *failure_;
  }

 private:
  void advance(ByteView arrived) {
    const base::MonotonicInstant now = serving_clock();
    const LineStep step = line_.step(arrived, now);
    if (step.plugged != plugged_) {
      plugged_ = step.plugged;
      if (!plugged_) {
        port_->unplug();
      } else if (auto again = port_->plug(step.replug); !again) {
        failure_ = again.error();
        io_.stop();
        return;
      }
    }
    port_->hold(!step.reading);
    if (plugged_ && !step.bytes.empty()) port_->send(step.bytes, line_.host_heard(now));
    wait_for(line_.next_due());
  }

  void wait_for(base::MonotonicInstant due) {
    // What is due never is asked for again after an hour: the end of all time is no time for a timer.
    constexpr std::int64_t kLongestMs = 3'600'000;
    const std::int64_t at_ns = std::min(due.ns, base::after_ms(serving_clock(), kLongestMs).ns);
    timer_.expires_at(std::chrono::steady_clock::time_point(std::chrono::nanoseconds(at_ns)));
    timer_.async_wait([this](const boost::system::error_code& problem) {
      if (!problem) advance({});
    });
  }

  base::Outcome listen_for_control(std::uint16_t port) {
    const tcp::endpoint endpoint(asio::ip::address_v4::loopback(), port);
    boost::system::error_code problem;
    control_.open(tcp::v4(), problem);
    if (!problem) control_.set_option(tcp::acceptor::reuse_address(true), problem);
    if (!problem) control_.bind(endpoint, problem);
    if (!problem) control_.listen(asio::socket_base::max_listen_connections, problem);
    if (problem) {
      return base::Error{base::ErrorCode::kIo,
                         "control port " + std::to_string(port) + ": cannot listen: " + problem.message()};
    }
    accept_control();
    return base::Done{};
  }

  void accept_control() {
    control_.async_accept([this](const boost::system::error_code& problem, tcp::socket socket) {
      if (problem == asio::error::operation_aborted) return;
      if (!problem) {
        const auto answer = [this](std::string_view command) {
          advance({});  // the gauge as it is now, not as it was at its last event
          return events_.answer(command);
        };
        const auto answered = [this] {
          if (events_.quit_wanted()) io_.stop();
        };
        std::make_shared<ControlSession>(std::move(socket), answer, answered)->read();
      }
      accept_control();
    });
  }

  Line& line_;
  const ServeEvents& events_;
  asio::io_context io_{1};
  asio::steady_timer timer_;
  asio::signal_set signals_;
  tcp::acceptor control_;
  std::unique_ptr<HostPort> port_;
  bool plugged_ = true;
  std::optional<base::Error> failure_;
};

}  // namespace

base::MonotonicInstant serving_clock() {
  const auto since_start = std::chrono::steady_clock::now().time_since_epoch();
  return {std::chrono::duration_cast<std::chrono::nanoseconds>(since_start).count()};
}

base::Outcome serve(Line& line, const ServeOptions& options, const ServeEvents& events) {
  CRESTGATE_EXPECTS(options.pty_path.has_value() != options.tcp_port.has_value());
  try {
    return Server(line, options, events).run(options);
  } catch (const boost::system::system_error& problem) {  // Asio reports a lack of descriptors this way
    return base::Error{base::ErrorCode::kIo, std::string("serving failed: ") + problem.what()};
  }
}

}  // namespace crestgate::simulator
