// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/pseudo_terminal.h"

#include <array>
#include <cerrno>
#include <cstdlib>
#include <filesystem>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

namespace crestgate::simulator {

namespace {

namespace fs = std::filesystem;

base::Error failed(const std::string& what) {
  return {base::ErrorCode::kIo, what + ": " + std::system_category().message(errno)};
}

bool make_raw(int fd) {
  termios settings{};
  if (::tcgetattr(fd, &settings) != 0) return false;
  ::cfmakeraw(&settings);
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  return ::tcsetattr(fd, TCSANOW, &settings) == 0;
}

}  // namespace

// A free number is given out again at once, so that one has to hold it to get another.
base::Result<PseudoTerminal> PseudoTerminal::open(const std::string& link_path,
                                                  const std::string& other_than) {
  auto pair = open_pair();
  if (pair && pair->far_name_ == other_than) {
    const PseudoTerminal passed_over = std::move(*pair);
    pair = open_pair();
  }
  if (!pair) return pair;
  if (auto linked = pair->link_to(link_path); !linked) return linked.error();
  return pair;
}

base::Result<PseudoTerminal> PseudoTerminal::open_pair() {
  PseudoTerminal pair;
  pair.near_end_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (pair.near_end_ < 0) return failed("cannot open a pseudo-terminal");
  std::array<char, 128> name{};
  if (::grantpt(pair.near_end_) != 0 || ::unlockpt(pair.near_end_) != 0 ||
      ::ptsname_r(pair.near_end_, name.data(), name.size()) != 0) {
    return failed("cannot unlock a pseudo-terminal");
  }
  pair.far_name_ = name.data();
  pair.far_end_ = ::open(name.data(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (pair.far_end_ < 0 || !make_raw(pair.far_end_)) return failed("cannot prepare " + pair.far_name_);
  return pair;
}

base::Outcome PseudoTerminal::link_to(const std::string& path) {
  std::error_code problem;
  const fs::file_status status = fs::symlink_status(path, problem);
  if (fs::is_symlink(status)) {
    fs::remove(path, problem);  // left by a simulator that was killed; a failure shows in the next line
  } else if (fs::exists(status)) {
    return base::Error{base::ErrorCode::kBusy,
                       path + ": expected a free path, found something that is no link"};
  }
  fs::create_symlink(far_name_, path, problem);
  if (problem) return base::Error{base::ErrorCode::kIo, path + ": cannot link it: " + problem.message()};
  link_path_ = path;
  return base::Done{};
}

PseudoTerminal::PseudoTerminal(PseudoTerminal&& other) noexcept
    : near_end_(std::exchange(other.near_end_, -1)),
      far_end_(std::exchange(other.far_end_, -1)),
      far_name_(std::move(other.far_name_)),
      link_path_(std::exchange(other.link_path_, {})) {}

PseudoTerminal& PseudoTerminal::operator=(PseudoTerminal&& other) noexcept {
  if (this != &other) {
    close();
    near_end_ = std::exchange(other.near_end_, -1);
    far_end_ = std::exchange(other.far_end_, -1);
    far_name_ = std::move(other.far_name_);
    link_path_ = std::exchange(other.link_path_, {});
  }
  return *this;
}

PseudoTerminal::~PseudoTerminal() { close(); }

// The link goes only while it still points to our own far end: another simulator may have taken the path
// over.
void PseudoTerminal::close() {
  std::error_code problem;
  if (!link_path_.empty() && fs::read_symlink(link_path_, problem) == fs::path(far_name_)) {
    fs::remove(link_path_, problem);
  }
  link_path_.clear();
  if (far_end_ >= 0) ::close(far_end_);
  if (near_end_ >= 0) ::close(near_end_);
  far_end_ = -1;
  near_end_ = -1;
}

int PseudoTerminal::take_near_end() { return std::exchange(near_end_, -1); }

void PseudoTerminal::discard_unread() const { ::tcflush(far_end_, TCIFLUSH); }

}  // namespace crestgate::simulator
