// SPDX-License-Identifier: Apache-2.0
#pragma once
// Raw sockets for both sides of a Modbus line: clients with a source address of their own, listeners, and a
// relay that turns a connection half-open. Blocking, for threads of their own; failures throw
// std::runtime_error.

#include <atomic>
#include <chrono>
#include <cstdint>
#include <string>
#include <thread>
#include <vector>

namespace crestgate::tests {

using Bytes = std::vector<std::uint8_t>;

// Header and protocol data unit as one frame.
[[nodiscard]] Bytes modbus_frame(std::uint16_t transaction, std::uint8_t unit, const Bytes& pdu);

// One end of a TCP connection; closes it when destroyed.
class PeerSocket {
 public:
  explicit PeerSocket(int fd = -1) : fd_(fd) {}
  // Connects to 127.0.0.1:port with `source` as its own address (any of 127.0.0.0/8).
  static PeerSocket connect(std::uint16_t port, const std::string& source);
  PeerSocket(PeerSocket&& other) noexcept;
  PeerSocket& operator=(PeerSocket&& other) noexcept;
  PeerSocket(const PeerSocket&) = delete;
  PeerSocket& operator=(const PeerSocket&) = delete;
  ~PeerSocket() { close(); }

  void close();
  [[nodiscard]] int fd() const { return fd_; }
  // False: the other side is gone.
  bool send(const Bytes& bytes);
  // Exactly `count` bytes; fewer: the end of the stream, or the time was over.
  [[nodiscard]] Bytes receive(std::size_t count, std::chrono::milliseconds patience = kPatience);
  // One whole frame; empty as above.
  [[nodiscard]] Bytes receive_frame(std::chrono::milliseconds patience = kPatience);
  // Sends a request of unit 1 and returns the answer's protocol data unit; empty: none came.
  [[nodiscard]] Bytes ask(const Bytes& pdu, std::chrono::milliseconds patience = kPatience);

  static constexpr std::chrono::milliseconds kPatience{15'000};

 private:
  int fd_;
  std::uint16_t transaction_ = 0;
};

// A listening socket on 127.0.0.1.
class Listener {
 public:
  explicit Listener(std::uint16_t port = 0);
  [[nodiscard]] std::uint16_t port() const { return port_; }
  [[nodiscard]] int fd() const { return socket_.fd(); }
  // The next connection; fd() < 0 when none came in time.
  [[nodiscard]] PeerSocket accept(std::chrono::milliseconds patience);

 private:
  PeerSocket socket_;
  std::uint16_t port_ = 0;
};

// Passes one connection on to 127.0.0.1:to, coming from `source`, until swallow(): from then on whatever
// comes is lost, both ways, and nothing is closed.
class Relay {
 public:
  Relay(std::uint16_t to, std::string source);
  ~Relay();
  Relay(const Relay&) = delete;
  Relay& operator=(const Relay&) = delete;
  Relay(Relay&&) = delete;
  Relay& operator=(Relay&&) = delete;
  [[nodiscard]] std::uint16_t port() const { return listener_.port(); }
  void swallow() { swallowing_ = true; }

 private:
  void run();
  std::uint16_t to_;
  std::string source_;
  Listener listener_;
  std::atomic<bool> swallowing_{false};
  std::atomic<bool> stop_{false};
  std::thread thread_;
};

}  // namespace crestgate::tests
