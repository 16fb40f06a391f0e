// SPDX-License-Identifier: Apache-2.0
#pragma once
// A raw, blocking TCP client for a thread of its own: sends what no polite peer would.

#include <chrono>
#include <cstdint>
#include <optional>
#include <vector>

namespace crestgate::tests {

class TcpClient {
 public:
  explicit TcpClient(std::uint16_t port);  // 127.0.0.1; throws std::runtime_error
  ~TcpClient();
  TcpClient(TcpClient&& other) noexcept;
  TcpClient& operator=(TcpClient&&) = delete;
  TcpClient(const TcpClient&) = delete;
  TcpClient& operator=(const TcpClient&) = delete;

  void send(const std::vector<std::uint8_t>& bytes);
  // Exactly `count` bytes, or what came until the end of the stream or the time was over.
  [[nodiscard]] std::vector<std::uint8_t> receive(std::size_t count,
                                                  std::chrono::milliseconds patience = kPatience);
  // True: the other side closed within the time.
  [[nodiscard]] bool is_closed(std::chrono::milliseconds patience = kPatience);
  // Sends as long as the kernel takes something without waiting; returns the bytes.
  std::size_t flood(const std::vector<std::uint8_t>& bytes);
  void shrink_receive_buffer();

  static constexpr std::chrono::milliseconds kPatience{15'000};

 private:
  int fd_;
};

}  // namespace crestgate::tests
