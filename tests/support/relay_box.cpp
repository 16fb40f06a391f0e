// SPDX-License-Identifier: Apache-2.0
#include "support/relay_box.h"

#include <array>
#include <csignal>
#include <cstdlib>
#include <stdexcept>

#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "support/processes.h"

namespace crestgate::tests {
namespace {

std::string read_line(int fd) {
  std::string line;
  char c = 0;
  while (::read(fd, &c, 1) == 1) {
    if (c == '\n') return line;
    line.push_back(c);
  }
  throw std::runtime_error("the relay box is gone");
}

}  // namespace

RelayBox::RelayBox(int lights) {
  std::string name = (std::filesystem::temp_directory_path() / "relay_box_XXXXXX").string();
  std::array<int, 2> ends{};
  if (::mkdtemp(name.data()) == nullptr ||
      ::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends.data()) != 0)
    throw std::runtime_error("no relay box");
  folder_ = name;
  channel_ = ends[0];
  std::vector<std::string> words{"/usr/bin/python3",
                                 "-B",
                                 std::string(CRESTGATE_SOURCE_DIR) + "/tests/support/relay_box.py",
                                 path(),
                                 (folder_ / "log").string(),
                                 std::to_string(lights)};
  std::vector<char*> arguments;
  for (std::string& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t files{};
  ::posix_spawn_file_actions_init(&files);
  ::posix_spawn_file_actions_adddup2(&files, ends[1], STDIN_FILENO);
  ::posix_spawn_file_actions_adddup2(&files, ends[1], STDOUT_FILENO);
  const int failed = ::posix_spawn(&pid_, arguments[0], &files, nullptr, arguments.data(), environ);
  ::posix_spawn_file_actions_destroy(&files);
  ::close(ends[1]);
  if (failed != 0) throw std::runtime_error("cannot start the relay box");
  read_line(channel_);
}

RelayBox::~RelayBox() {
  wait_for_guards(folder_, "cmdline");
  ::close(channel_);
  ::waitpid(pid_, nullptr, 0);
  std::error_code left_behind;
  std::filesystem::remove_all(folder_, left_behind);
}

std::string RelayBox::tell(const std::string& line) {
  const std::string text = line + "\n";
  if (::write(channel_, text.data(), text.size()) != static_cast<ssize_t>(text.size()))
    throw std::runtime_error("the relay box is gone");
  return read_line(channel_);
}

}  // namespace crestgate::tests
