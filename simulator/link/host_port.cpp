// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/host_port.h"

#include <optional>
#include <utility>

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>

#include "simulator/link/pseudo_terminal.h"
#include "simulator/link/stream_pump.h"

namespace crestgate::simulator {

namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

class PtyPort final : public HostPort {
 public:
  PtyPort(asio::io_context& io, std::string link_path, HostPortEvents events)
      : io_(io), link_path_(std::move(link_path)), events_(std::move(events)) {}
  PtyPort(const PtyPort&) = delete;
  PtyPort& operator=(const PtyPort&) = delete;
  PtyPort(PtyPort&&) = delete;
  PtyPort& operator=(PtyPort&&) = delete;
  ~PtyPort() override { unplug(); }

  base::Outcome plug(const Replug& how) override {
    if (!how.link_path.empty()) link_path_ = how.link_path;
    auto opened = PseudoTerminal::open(link_path_, how.other_device ? last_device_ : std::string());
    if (!opened) return opened.error();
    terminal_ = std::move(*opened);
    last_device_ = terminal_->far_name();
    // The far end is kept open, so the near end only fails when the machine does; unplug() then tidies up.
    pump_ = std::make_shared<StreamPump<asio::posix::stream_descriptor>>(
        asio::posix::stream_descriptor(io_, terminal_->take_near_end()), events_.on_bytes, [] {});
    pump_->start();
    events_.on_opened();
    return base::Done{};
  }

  void unplug() override {
    if (pump_) pump_->close();
    pump_.reset();
    terminal_.reset();
  }

  void hold(bool held) override {
    if (pump_) pump_->hold(held);
  }

  void send(const Bytes& bytes, bool somebody_listens) override {
    if (!pump_) return;
    if (!somebody_listens) {
      pump_->discard_waiting();
      terminal_->discard_unread();
    }
    pump_->send(bytes);
  }

  [[nodiscard]] std::string name() const override { return link_path_; }

 private:
  asio::io_context& io_;
  std::string link_path_;
  HostPortEvents events_;
  std::string last_device_;
  std::optional<PseudoTerminal> terminal_;
  std::shared_ptr<StreamPump<asio::posix::stream_descriptor>> pump_;
};

class TcpPort final : public HostPort {
 public:
  TcpPort(asio::io_context& io, std::uint16_t port, HostPortEvents events)
      : io_(io), endpoint_(asio::ip::address_v4::loopback(), port), events_(std::move(events)) {}
  TcpPort(const TcpPort&) = delete;
  TcpPort& operator=(const TcpPort&) = delete;
  TcpPort(TcpPort&&) = delete;
  TcpPort& operator=(TcpPort&&) = delete;
  ~TcpPort() override { unplug(); }

  base::Outcome plug(const Replug& /*how*/) override {
    auto acceptor = std::make_shared<tcp::acceptor>(io_);
    boost::system::error_code problem;
    acceptor->open(tcp::v4(), problem);
    if (!problem) acceptor->set_option(tcp::acceptor::reuse_address(true), problem);
    if (!problem) acceptor->bind(endpoint_, problem);
    if (!problem) acceptor->listen(asio::socket_base::max_listen_connections, problem);
    if (!problem) endpoint_ = acceptor->local_endpoint(problem);
    if (problem) return base::Error{base::ErrorCode::kIo, name() + ": cannot listen: " + problem.message()};
    acceptor_ = std::move(acceptor);
    accept();
    return base::Done{};
  }

  void unplug() override {
    boost::system::error_code ignored;  // closing is all that is wanted
    if (acceptor_) acceptor_->close(ignored);
    acceptor_.reset();
    if (pump_) pump_->close();
    pump_.reset();
  }

  void hold(bool held) override {
    if (pump_) pump_->hold(held);
  }

  void send(const Bytes& bytes, bool /*somebody_listens*/) override {
    if (pump_) pump_->send(bytes);
  }

  [[nodiscard]] std::string name() const override {
    return endpoint_.address().to_string() + ":" + std::to_string(endpoint_.port());
  }

 private:
  // The handler holds its acceptor: after unplug() it finds that it is not the port's any more.
  void accept() {
    acceptor_->async_accept(
        [this, acceptor = acceptor_](const boost::system::error_code& problem, tcp::socket host) {
          if (problem == asio::error::operation_aborted || acceptor != acceptor_) return;
          if (!problem && !pump_) {
            boost::system::error_code ignored;  // only a matter of speed
            host.set_option(tcp::no_delay(true), ignored);
            pump_ = std::make_shared<StreamPump<tcp::socket>>(std::move(host), events_.on_bytes,
                                                              [this] { pump_.reset(); });
            events_.on_opened();
            pump_->start();
          }
          accept();
        });
  }

  asio::io_context& io_;
  tcp::endpoint endpoint_;
  HostPortEvents events_;
  std::shared_ptr<tcp::acceptor> acceptor_;
  std::shared_ptr<StreamPump<tcp::socket>> pump_;
};

}  // namespace

std::unique_ptr<HostPort> make_pty_port(asio::io_context& io, const std::string& link_path,
                                        HostPortEvents events) {
  return std::make_unique<PtyPort>(io, link_path, std::move(events));
}

std::unique_ptr<HostPort> make_tcp_port(asio::io_context& io, std::uint16_t port, HostPortEvents events) {
  return std::make_unique<TcpPort>(io, port, std::move(events));
}

}  // namespace crestgate::simulator
