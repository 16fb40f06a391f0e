// SPDX-License-Identifier: Apache-2.0
#include "support/tcp_client.h"

#include <array>
#include <stdexcept>
#include <utility>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace crestgate::tests {

TcpClient::TcpClient(std::uint16_t port) : fd_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  const auto* generic = reinterpret_cast<const sockaddr*>(&address);
  if (fd_ < 0 || ::connect(fd_, generic, sizeof address) != 0) throw std::runtime_error("cannot connect");
}
TcpClient::~TcpClient() {
  if (fd_ >= 0) ::close(fd_);
}
TcpClient::TcpClient(TcpClient&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}

void TcpClient::send(const std::vector<std::uint8_t>& bytes) {
  if (::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(bytes.size())) {
    throw std::runtime_error("cannot send");
  }
}

std::vector<std::uint8_t> TcpClient::receive(std::size_t count, std::chrono::milliseconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  std::vector<std::uint8_t> all;
  while (all.size() < count) {
    const auto left =
        std::chrono::duration_cast<std::chrono::milliseconds>(deadline - std::chrono::steady_clock::now());
    pollfd ready{fd_, POLLIN, 0};
    if (left.count() <= 0 || ::poll(&ready, 1, static_cast<int>(left.count())) <= 0) break;
    std::array<std::uint8_t, 4096> buffer{};
    const ssize_t got = ::recv(fd_, buffer.data(), std::min(buffer.size(), count - all.size()), 0);
    if (got <= 0) break;
    all.insert(all.end(), buffer.begin(), buffer.begin() + got);
  }
  return all;
}

bool TcpClient::is_closed(std::chrono::milliseconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (true) {
    const auto left =
        std::chrono::duration_cast<std::chrono::milliseconds>(deadline - std::chrono::steady_clock::now());
    pollfd ready{fd_, POLLIN, 0};
    if (left.count() <= 0 || ::poll(&ready, 1, static_cast<int>(left.count())) <= 0) return false;
    std::array<std::uint8_t, 4096> buffer{};
    if (::recv(fd_, buffer.data(), buffer.size(), 0) <= 0) return true;
  }
}

std::size_t TcpClient::flood(const std::vector<std::uint8_t>& bytes) {
  std::size_t sent = 0;
  while (true) {
    pollfd ready{fd_, POLLOUT, 0};
    if (::poll(&ready, 1, 100) <= 0) return sent;
    const ssize_t count = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
    if (count < 0) return sent;
    sent += static_cast<std::size_t>(count);
  }
}

void TcpClient::shrink_receive_buffer() {
  const int size = 2048;
  ::setsockopt(fd_, SOL_SOCKET, SO_RCVBUF, &size, sizeof size);
}

}  // namespace crestgate::tests
