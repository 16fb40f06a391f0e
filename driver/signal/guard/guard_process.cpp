// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/guard/guard_process.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <system_error>
#include <thread>
#include <utility>

#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/expects.h"

namespace crestgate::driver {
namespace {

base::Result<std::string> program_path(const std::string& program) {
  if (!program.empty()) return program;
  std::array<char, 4096> own{};
  const ssize_t size = ::readlink("/proc/self/exe", own.data(), own.size());
  const std::string path(own.data(), size > 0 ? static_cast<std::size_t>(size) : 0);
  const std::size_t slash = path.rfind('/');
  if (slash == std::string::npos)
    return base::Error{base::ErrorCode::kIo, "cannot find out where our own program is"};
  return path.substr(0, slash) + "/crestgate-guard";
}

base::Error start_error(const std::string& path, int number) {
  switch (number) {
    case ENOENT:
    case ENOTDIR:
      return {base::ErrorCode::kNotFound, "there is no guard program at " + path};
    case EACCES:
    case EPERM:
    case ENOEXEC:
      return {base::ErrorCode::kRefused, "the guard program " + path + " may not be run"};
    default:
      return {base::ErrorCode::kIo,
              "cannot start the guard " + path + " (" + std::system_category().message(number) + ")"};
  }
}

// Everything a child of ours must not inherit is taken away here, whoever forgot to mark it.
int spawn(const std::string& path, const std::vector<std::string>& words, int channel, pid_t& pid) {
  std::vector<char*> arguments{const_cast<char*>(path.c_str())};  // NOLINT: exec does not write
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));  // NOLINT
  arguments.push_back(nullptr);
  sigset_t none{};
  sigset_t all{};
  ::sigemptyset(&none);
  ::sigfillset(&all);
  posix_spawn_file_actions_t files{};
  posix_spawnattr_t how{};
  int failed = ::posix_spawn_file_actions_init(&files);
  if (failed != 0) return failed;
  failed = ::posix_spawnattr_init(&how);
  if (failed == 0) failed = ::posix_spawn_file_actions_adddup2(&files, channel, STDIN_FILENO);
  if (failed == 0) failed = ::posix_spawn_file_actions_adddup2(&files, STDIN_FILENO, STDOUT_FILENO);
  if (failed == 0) failed = ::posix_spawn_file_actions_addclosefrom_np(&files, STDERR_FILENO + 1);
  if (failed == 0) failed = ::posix_spawnattr_setsigmask(&how, &none);
  if (failed == 0) failed = ::posix_spawnattr_setsigdefault(&how, &all);
  constexpr int kFlags = POSIX_SPAWN_SETSID | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF;
  if (failed == 0) failed = ::posix_spawnattr_setflags(&how, static_cast<short>(kFlags));
  if (failed == 0) failed = ::posix_spawn(&pid, path.c_str(), &files, &how, arguments.data(), environ);
  ::posix_spawnattr_destroy(&how);
  ::posix_spawn_file_actions_destroy(&files);
  return failed;
}

}  // namespace

base::Outcome check_guard_program(const std::string& program) {
  const auto path = program_path(program);
  if (!path) return path.error();
  if (::access(path->c_str(), X_OK) != 0) return start_error(*path, errno);
  return base::Done{};
}

GuardProcess::~GuardProcess() {
  close_channel();
  kill();
  bury(Clock::now());
}

base::Outcome GuardProcess::start(const std::string& program, const std::vector<std::string>& words) {
  CRESTGATE_EXPECTS(!channel_open() && pid_ < 0);
  const auto path = program_path(program);
  if (!path) return path.error();
  std::array<int, 2> ends{};
  // Frames arrive whole or not at all.
  if (::socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends.data()) != 0)
    return start_error(*path, errno);
  const int failed = spawn(*path, words, ends[1], pid_);
  ::close(ends[1]);
  status_.reset();
  if (failed != 0) {
    ::close(ends[0]);
    pid_ = -1;
    return start_error(*path, failed);
  }
  channel_ = ends[0];
  return base::Done{};
}

bool GuardProcess::send(const GuardFrame& frame) {
  const GuardBytes bytes = write_guard_frame(frame);
  ssize_t sent = -1;
  do {
    sent = ::send(channel_, bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
  } while (sent < 0 && errno == EINTR);
  return sent == ssize_t{kGuardFrameSize};
}

Heard GuardProcess::receive(GuardFrame& frame) {
  GuardBytes bytes{};
  ssize_t got = -1;
  do {
    got = ::recv(channel_, bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_TRUNC);
  } while (got < 0 && errno == EINTR);
  if (got < 0 && errno == EAGAIN) return Heard::kNothing;

  if (got <= 0) return Heard::kEnd;
  GuardFrame read;
  const bool whole = got == ssize_t{kGuardFrameSize} && read_guard_frame(bytes, read);
  if (!whole || read.kind == GuardSays::kSet) return Heard::kGarbage;
  frame = read;
  return Heard::kFrame;
}

void GuardProcess::end_of_speech() { ::shutdown(channel_, SHUT_WR); }

bool GuardProcess::wait_readable(Clock::time_point limit) {
  for (;;) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(limit - Clock::now()).count();
    pollfd watched{channel_, POLLIN, 0};
    const int ready = ::poll(&watched, 1, static_cast<int>(std::max<std::int64_t>(left, 0)));
    if (ready > 0) return true;
    if (ready == 0 || errno != EINTR) return false;
  }
}

void GuardProcess::close_channel() {
  if (channel_open()) ::close(std::exchange(channel_, -1));
}

void GuardProcess::kill() {
  if (pid_ > 0) ::kill(pid_, SIGKILL);
}

bool GuardProcess::is_buried() {
  if (pid_ < 0) return true;
  int status = 0;
  const pid_t ended = ::waitpid(pid_, &status, WNOHANG);
  if (ended == 0 || (ended < 0 && errno == EINTR)) return false;
  if (ended > 0) status_ = status;  // else somebody else has reaped it
  pid_ = -1;
  return true;
}

void GuardProcess::bury(Clock::time_point limit) {
  while (!is_buried()) {
    if (Clock::now() < limit) {
      ::poll(nullptr, 0, 1);
      continue;
    }
    std::thread([pid = std::exchange(pid_, -1)] {
      while (::waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {
      }
    }).detach();
  }
}

bool GuardProcess::left_all_off() const {
  return pid_ < 0 && status_ && WIFEXITED(*status_) && WEXITSTATUS(*status_) <= 1;
}

std::optional<std::string> GuardProcess::last_words() const {
  if (pid_ > 0 || !status_) return std::nullopt;
  if (WIFSIGNALED(*status_)) return "ended by signal " + std::to_string(WTERMSIG(*status_));
  switch (WEXITSTATUS(*status_)) {
    case 0:
      return "exit 0: it was told to end";
    case 1:
      return "exit 1: its device or its channel failed; everything is off";
    case 2:
      return "exit 2: it does not understand its arguments";
    case 3:
      return "exit 3: it could not open the device, or not switch it off";
    default:
      return "exit " + std::to_string(WEXITSTATUS(*status_));
  }
}

}  // namespace crestgate::driver
