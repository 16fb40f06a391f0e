// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/control/control_socket.h"

#include <chrono>
#include <exception>
#include <list>
#include <utility>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

namespace crestgate::cell {
namespace {

namespace asio = boost::asio;
using Local = asio::local::stream_protocol;
using boost::system::error_code;

constexpr std::chrono::seconds kIdleLimit{10};  // somebody who says nothing gives his place away

// One line in, one line out, again and again. Kept alive by what it waits for.
class Client : public std::enable_shared_from_this<Client> {
 public:
  Client(Local::socket socket, const ControlSocket::Answer& answer)
      : socket_(std::move(socket)), idle_(socket_.get_executor()), answer_(answer) {}

  void serve() {
    arm();
    socket_.async_read_some(asio::buffer(buffer_),
                            [self = shared_from_this()](const error_code& failure, std::size_t size) {
                              if (failure) {
                                self->close();
                                return;
                              }
                              self->input_.append(self->buffer_.data(), size);
                              self->take_line();
                            });
  }

  void close() {
    idle_.cancel();
    error_code ignored;  // closing a socket that is gone already is what we want
    socket_.close(ignored);
  }
  [[nodiscard]] bool open() const { return socket_.is_open(); }

 private:
  void take_line() {
    const std::size_t end = input_.find('\n');
    if (end == std::string::npos) {
      if (input_.size() > kLongestControlLine) {
        close();
      } else {
        serve();
      }
      return;
    }
    std::string line = input_.substr(0, end);
    input_.erase(0, end + 1);
    answer_(std::move(line),
            [self = shared_from_this()](std::string reply) { self->send(std::move(reply)); });
  }

  void send(std::string reply) {
    if (!open()) return;
    output_ = std::move(reply) + "\n";
    arm();
    asio::async_write(socket_, asio::buffer(output_),
                      [self = shared_from_this()](const error_code& failure, std::size_t /*size*/) {
                        if (failure) {
                          self->close();
                        } else {
                          self->take_line();
                        }
                      });
  }

  void arm() {
    idle_.expires_after(kIdleLimit);
    idle_.async_wait([self = weak_from_this()](const error_code& cancelled) {
      if (cancelled) return;
      if (const auto client = self.lock()) client->close();
    });
  }

  Local::socket socket_;
  asio::steady_timer idle_;
  const ControlSocket::Answer& answer_;
  std::array<char, 4096> buffer_{};
  std::string input_;
  std::string output_;
};

class Door final : public ControlSocket {
 public:
  Door(asio::io_context& io, std::filesystem::path path, Answer answer)
      : acceptor_(io), pause_(io), path_(std::move(path)), answer_(std::move(answer)) {}
  // Cancelling a timer throws only on a broken reactor.
  ~Door() override { Door::stop(); }  // NOLINT(bugprone-exception-escape)
  Door(const Door&) = delete;
  Door& operator=(const Door&) = delete;

  base::Outcome listen() {
    error_code failure;
    acceptor_.open(Local(), failure);
    if (!failure) acceptor_.bind(Local::endpoint(path_.string()), failure);
    if (!failure) bound_ = true;
    if (!failure && ::chmod(path_.c_str(), S_IRUSR | S_IWUSR | S_IRGRP | S_IWGRP) != 0) {
      failure = error_code(errno, boost::system::system_category());
    }
    if (!failure) acceptor_.listen(static_cast<int>(kMostControlClients), failure);
    if (failure)
      return base::Error{base::ErrorCode::kIo, "control " + path_.string() + ": " + failure.message()};
    accept();
    return base::Done{};
  }

  void stop() override {
    pause_.cancel();
    error_code ignored;
    acceptor_.close(ignored);
    for (const auto& client : clients_) client->close();
    clients_.clear();
    if (std::exchange(bound_, false)) ::unlink(path_.c_str());
  }

 private:
  void accept() {
    acceptor_.async_accept([this](const error_code& failure, Local::socket socket) {
      if (failure == asio::error::operation_aborted) return;
      clients_.remove_if([](const auto& client) { return !client->open(); });
      if (failure) {  // out of descriptors, for one: not a reason to spin
        pause_.expires_after(std::chrono::seconds(1));
        pause_.async_wait([this](const error_code& cancelled) {
          if (!cancelled) accept();
        });
        return;
      }
      if (clients_.size() >= kMostControlClients) {  // whoever came first has had his time
        clients_.front()->close();
        clients_.pop_front();
      }
      clients_.push_back(std::make_shared<Client>(std::move(socket), answer_));
      clients_.back()->serve();
      accept();
    });
  }

  Local::acceptor acceptor_;
  asio::steady_timer pause_;
  const std::filesystem::path path_;
  const Answer answer_;
  std::list<std::shared_ptr<Client>> clients_;
  bool bound_ = false;
};

// Makes room for a new socket file: one that nobody serves is taken away.
base::Outcome clear_away(asio::io_context& io, const std::filesystem::path& path) {
  if (path.string().size() >= sizeof(sockaddr_un::sun_path)) {
    return base::Error{
        base::ErrorCode::kInvalidConfig,
        "control: the path is too long for a socket (107 characters at most): " + path.string()};
  }
  struct stat facts {};
  if (::lstat(path.c_str(), &facts) != 0) return base::Done{};
  if (!S_ISSOCK(facts.st_mode)) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "control: " + path.string() + " is there and is no socket"};
  }
  Local::socket probe(io);
  error_code failure;
  probe.connect(Local::endpoint(path.string()), failure);
  if (!failure) {
    return base::Error{base::ErrorCode::kBusy,
                       "the cell runs already: another process serves " + path.string()};
  }
  ::unlink(path.c_str());
  return base::Done{};
}

}  // namespace

base::Result<std::unique_ptr<ControlSocket>> ControlSocket::open(asio::io_context& io,
                                                                 const std::filesystem::path& path,
                                                                 Answer answer) {
  if (const auto cleared = clear_away(io, path); !cleared) return cleared.error();
  auto door = std::make_unique<Door>(io, path, std::move(answer));
  if (const auto listening = door->listen(); !listening) return listening.error();
  return std::unique_ptr<ControlSocket>(std::move(door));
}

}  // namespace crestgate::cell
