// SPDX-License-Identifier: Apache-2.0
#include "driver/modbus_sockets.h"

#include <array>
#include <stdexcept>
#include <utility>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace crestgate::tests {
namespace {

using std::chrono::milliseconds;
using std::chrono::steady_clock;

sockaddr_in address_of(const std::string& host, std::uint16_t port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  if (::inet_pton(AF_INET, host.c_str(), &address.sin_addr) != 1) throw std::runtime_error("no address");
  return address;
}
const sockaddr* generic(const sockaddr_in& address) { return reinterpret_cast<const sockaddr*>(&address); }

int new_socket() {
  const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (fd < 0) throw std::runtime_error("no socket");
  const int on = 1;
  ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
  return fd;
}

bool is_readable(int fd, steady_clock::time_point deadline) {
  const auto left = std::chrono::ceil<milliseconds>(deadline - steady_clock::now());
  pollfd ready{fd, POLLIN, 0};
  return left.count() > 0 && ::poll(&ready, 1, static_cast<int>(left.count())) > 0;
}

}  // namespace

Bytes modbus_frame(std::uint16_t transaction, std::uint8_t unit, const Bytes& pdu) {
  const std::size_t length = pdu.size() + 1;
  Bytes bytes{
      static_cast<std::uint8_t>(transaction >> 8U), static_cast<std::uint8_t>(transaction & 0xFFU), 0,   0,
      static_cast<std::uint8_t>(length >> 8U),      static_cast<std::uint8_t>(length & 0xFFU),      unit};
  bytes.insert(bytes.end(), pdu.begin(), pdu.end());
  return bytes;
}

PeerSocket PeerSocket::connect(std::uint16_t port, const std::string& source) {
  PeerSocket socket(new_socket());
  const sockaddr_in from = address_of(source, 0);
  const sockaddr_in to = address_of("127.0.0.1", port);
  if (::bind(socket.fd_, generic(from), sizeof from) != 0) throw std::runtime_error("cannot bind");
  if (::connect(socket.fd_, generic(to), sizeof to) != 0) throw std::runtime_error("cannot connect");
  return socket;
}
PeerSocket::PeerSocket(PeerSocket&& other) noexcept
    : fd_(std::exchange(other.fd_, -1)), transaction_(other.transaction_) {}
PeerSocket& PeerSocket::operator=(PeerSocket&& other) noexcept {
  if (this == &other) return *this;
  close();
  fd_ = std::exchange(other.fd_, -1);
  transaction_ = other.transaction_;
  return *this;
}
void PeerSocket::close() {
  if (fd_ >= 0) ::close(std::exchange(fd_, -1));
}

bool PeerSocket::send(const Bytes& bytes) {
  return ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL) == static_cast<ssize_t>(bytes.size());
}

Bytes PeerSocket::receive(std::size_t count, milliseconds patience) {
  const auto deadline = steady_clock::now() + patience;
  Bytes all;
  while (all.size() < count && is_readable(fd_, deadline)) {
    std::array<std::uint8_t, 512> buffer{};
    const ssize_t got = ::recv(fd_, buffer.data(), std::min(buffer.size(), count - all.size()), 0);
    if (got <= 0) break;
    all.insert(all.end(), buffer.begin(), buffer.begin() + got);
  }
  return all;
}

Bytes PeerSocket::receive_frame(milliseconds patience) {
  Bytes frame = receive(6, patience);
  if (frame.size() < 6) return {};
  const std::size_t length = frame[4] * 256U + frame[5];
  const Bytes rest = receive(length, patience);
  if (rest.size() < length) return {};
  frame.insert(frame.end(), rest.begin(), rest.end());
  return frame;
}

Bytes PeerSocket::ask(const Bytes& pdu, milliseconds patience) {
  if (!send(modbus_frame(++transaction_, 1, pdu))) return {};
  const Bytes frame = receive_frame(patience);
  if (frame.size() < 8 || frame[0] * 256U + frame[1] != transaction_) return {};
  return {frame.begin() + 7, frame.end()};
}

Listener::Listener(std::uint16_t port) : socket_(new_socket()) {
  const int on = 1;
  ::setsockopt(socket_.fd(), SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  sockaddr_in address = address_of("127.0.0.1", port);
  socklen_t size = sizeof address;
  if (::bind(socket_.fd(), generic(address), sizeof address) != 0 || ::listen(socket_.fd(), 16) != 0 ||
      ::getsockname(socket_.fd(), reinterpret_cast<sockaddr*>(&address), &size) != 0) {
    throw std::runtime_error("cannot listen");
  }
  port_ = ntohs(address.sin_port);
}
PeerSocket Listener::accept(milliseconds patience) {
  if (!is_readable(socket_.fd(), steady_clock::now() + patience)) return PeerSocket();
  const int fd = ::accept4(socket_.fd(), nullptr, nullptr, SOCK_CLOEXEC);
  const int on = 1;
  if (fd >= 0) ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
  return PeerSocket(fd);
}

Relay::Relay(std::uint16_t to, std::string source)
    : to_(to), source_(std::move(source)), thread_([this] { run(); }) {}
Relay::~Relay() {
  stop_ = true;
  thread_.join();
}
void Relay::run() {
  PeerSocket near;
  while (near.fd() < 0 && !stop_) near = listener_.accept(milliseconds(20));
  if (stop_) return;
  PeerSocket far = PeerSocket::connect(to_, source_);
  std::array<pollfd, 2> ends{pollfd{near.fd(), POLLIN, 0}, pollfd{far.fd(), POLLIN, 0}};
  while (!stop_) {
    if (::poll(ends.data(), ends.size(), 20) <= 0) continue;
    for (std::size_t i = 0; i < ends.size(); ++i) {
      if (ends.at(i).revents == 0) continue;
      Bytes bytes(512);
      const ssize_t got = ::recv(ends.at(i).fd, bytes.data(), bytes.size(), 0);
      if (got <= 0) ends.at(i).fd = -1;  // seen, and told to nobody
      if (got <= 0 || swallowing_) continue;
      bytes.resize(static_cast<std::size_t>(got));
      (i == 0 ? far : near).send(bytes);
    }
  }
}

}  // namespace crestgate::tests
