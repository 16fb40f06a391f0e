// SPDX-License-Identifier: Apache-2.0
#include "support/child.h"

#include <array>
#include <csignal>
#include <stdexcept>
#include <utility>

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "support/light_log.h"

namespace crestgate::tests {

Child::Child(std::vector<std::string> command, int stderr_fd) {
  std::array<int, 2> ends{};
  if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends.data()) != 0)
    throw std::runtime_error("no channel");
  channel_ = ends[0];
  stderr_ = ::memfd_create("stderr", MFD_CLOEXEC);
  std::vector<char*> arguments;
  for (std::string& word : command) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t files{};
  ::posix_spawn_file_actions_init(&files);
  ::posix_spawn_file_actions_adddup2(&files, ends[1], STDIN_FILENO);
  ::posix_spawn_file_actions_adddup2(&files, ends[1], STDOUT_FILENO);
  ::posix_spawn_file_actions_adddup2(&files, stderr_fd < 0 ? stderr_ : stderr_fd, STDERR_FILENO);
  const int failed = ::posix_spawn(&pid_, arguments[0], &files, nullptr, arguments.data(), environ);
  ::posix_spawn_file_actions_destroy(&files);
  ::close(ends[1]);
  if (failed != 0) throw std::runtime_error("cannot start " + command[0]);
}

Child::~Child() {
  close_channel();
  ::close(stderr_);
  if (ended(std::chrono::milliseconds(0))) return;
  ::kill(pid_, SIGKILL);
  ::waitpid(pid_, nullptr, 0);
}

void Child::signal(int number) const {
  if (!status_) ::kill(pid_, number);
}

void Child::write(const std::vector<std::uint8_t>& bytes) const {
  // One that is gone takes nothing; the test sees that by its end.
  static_cast<void>(::send(channel_, bytes.data(), bytes.size(), MSG_NOSIGNAL));
}

void Child::close_channel() {
  if (channel_ >= 0) ::close(std::exchange(channel_, -1));
}
void Child::end_of_speech() const { ::shutdown(channel_, SHUT_WR); }
void Child::end_of_hearing() const { ::shutdown(channel_, SHUT_RD); }

std::optional<std::vector<std::uint8_t>> Child::read(std::size_t count,
                                                     std::chrono::milliseconds patience) const {
  const auto limit = std::chrono::steady_clock::now() + patience;
  std::vector<std::uint8_t> bytes(count);
  std::size_t have = 0;
  while (have < count) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(limit - std::chrono::steady_clock::now());
    pollfd watched{channel_, POLLIN, 0};
    if (left.count() <= 0 || ::poll(&watched, 1, static_cast<int>(left.count())) <= 0) return std::nullopt;
    const ssize_t got = ::read(channel_, bytes.data() + have, count - have);
    if (got <= 0) return std::nullopt;
    have += static_cast<std::size_t>(got);
  }
  return bytes;
}

std::string Child::read_line() const {
  std::string line;
  for (;;) {
    const auto byte = read(1);
    if (!byte || (*byte)[0] == '\n') return line;
    line.push_back(static_cast<char>((*byte)[0]));
  }
}

std::optional<int> Child::ended(std::chrono::milliseconds patience) {
  const auto limit = std::chrono::steady_clock::now() + patience;
  while (!status_) {
    int status = 0;
    if (::waitpid(pid_, &status, WNOHANG) == pid_) {
      status_ = WIFSIGNALED(status) ? -WTERMSIG(status) : WEXITSTATUS(status);
    } else if (std::chrono::steady_clock::now() >= limit) {
      return std::nullopt;
    } else {
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
  }
  return status_;
}

std::string Child::complaints() const {
  std::string text(65536, '\0');
  const ssize_t size = ::pread(stderr_, text.data(), text.size(), 0);
  text.resize(size > 0 ? static_cast<std::size_t>(size) : 0);
  return text;
}

}  // namespace crestgate::tests
