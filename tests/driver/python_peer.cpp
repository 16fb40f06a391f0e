// SPDX-License-Identifier: Apache-2.0
#include "driver/python_peer.h"

#include <array>
#include <stdexcept>

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

namespace crestgate::tests {

PythonPeer::PythonPeer(const std::string& script, const std::vector<std::string>& arguments) {
  const std::string path = std::string(CRESTGATE_SOURCE_DIR) + "/tests/driver/" + script;
  std::vector<std::string> words{"/usr/bin/python3", "-B", path};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> argv;
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);
  std::array<int, 2> down{};
  std::array<int, 2> up{};
  if (::pipe2(down.data(), O_CLOEXEC) != 0 || ::pipe2(up.data(), O_CLOEXEC) != 0) {
    throw std::runtime_error("no pipe");
  }
  pid_ = ::fork();
  if (pid_ == 0) {
    ::dup2(down[0], STDIN_FILENO);
    ::dup2(up[1], STDOUT_FILENO);
    ::execv(argv[0], argv.data());
    ::_exit(127);
  }
  ::close(down[0]);
  ::close(up[1]);
  to_ = down[1];
  from_ = up[0];
  if (pid_ < 0) throw std::runtime_error("no process");
}

PythonPeer::~PythonPeer() {
  ::close(to_);
  ::close(from_);
  if (pid_ <= 0) return;
  ::kill(pid_, SIGKILL);
  ::waitpid(pid_, nullptr, 0);
}

std::string PythonPeer::ask(const std::string& line) {
  const std::string whole = line + "\n";
  if (::write(to_, whole.data(), whole.size()) != static_cast<ssize_t>(whole.size())) return {};
  return read_line();
}

std::string PythonPeer::read_line(std::chrono::milliseconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (input_.find('\n') == std::string::npos) {
    const auto left =
        std::chrono::ceil<std::chrono::milliseconds>(deadline - std::chrono::steady_clock::now());
    pollfd ready{from_, POLLIN, 0};
    if (left.count() <= 0 || ::poll(&ready, 1, static_cast<int>(left.count())) <= 0) return {};
    std::array<char, 4096> buffer{};
    const ssize_t got = ::read(from_, buffer.data(), buffer.size());
    if (got <= 0) return {};
    input_.append(buffer.data(), static_cast<std::size_t>(got));
  }
  const std::size_t end = input_.find('\n');
  std::string line = input_.substr(0, end);
  input_.erase(0, end + 1);
  return line;
}

}  // namespace crestgate::tests
