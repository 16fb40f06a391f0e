// SPDX-License-Identifier: Apache-2.0
#pragma once
// A program as a child of the test, with one channel to it as its stdin and stdout, and a file as its stderr.

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <sys/types.h>

namespace crestgate::tests {

class Child {
 public:
  // `stderr_fd`: -1 keeps what it says for complaints().
  explicit Child(std::vector<std::string> command, int stderr_fd = -1);
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;
  ~Child();  // kills it if it still runs

  [[nodiscard]] pid_t pid() const { return pid_; }
  void signal(int number) const;

  void write(const std::vector<std::uint8_t>& bytes) const;
  void close_channel();         // it reads an end of file, and nobody takes what it writes
  void end_of_speech() const;   // it reads an end of file
  void end_of_hearing() const;  // nobody takes what it writes

  // Exactly `count` bytes; nothing when they do not come in time, or the channel ends before.
  [[nodiscard]] std::optional<std::vector<std::uint8_t>> read(
      std::size_t count, std::chrono::milliseconds patience = std::chrono::seconds(15)) const;
  [[nodiscard]] std::string read_line() const;  // without its end; "" when the channel ends

  // Its exit status, or minus the signal; nothing while it runs. Waits up to `patience`.
  [[nodiscard]] std::optional<int> ended(std::chrono::milliseconds patience = std::chrono::seconds(15));
  [[nodiscard]] std::string complaints() const;  // all that it has said on stderr

 private:
  pid_t pid_ = -1;
  int channel_ = -1;
  int stderr_ = -1;
  std::optional<int> status_;
};

}  // namespace crestgate::tests
