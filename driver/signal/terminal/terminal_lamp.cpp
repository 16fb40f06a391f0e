// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/terminal/terminal_lamp.h"

#include <cerrno>
#include <string_view>
#include <utility>

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

namespace crestgate::driver {
namespace {

// A line that people can take in; longer texts belong on a page.
constexpr std::size_t kLongestText = 400;

struct Face {
  std::string_view shape;
  std::string_view word;
  std::string_view colour;  // ECMA-48 select graphic rendition
};

Face face_of(const base::CellSignal& signal) {
  switch (signal.lamp) {
    case base::Lamp::kGreen:
      if (shows_accept(signal)) return {"\u25CF", "ACCEPT", "\x1b[1;32m"};
      break;  // a green lamp without a live accept is a contradiction: dark
    case base::Lamp::kRed:
      return {"\u25A0", "REJECT", "\x1b[1;31m"};
    case base::Lamp::kBlueFlashing:
      return {"\u25B2", "ACT", "\x1b[1;34m"};
    case base::Lamp::kDark:
      break;
  }
  return {"\u25CB", "----", "\x1b[2m"};
}

std::string_view state_word(base::CellState state) {
  switch (state) {
    case base::CellState::kNotRunning:
      return "not running";
    case base::CellState::kStarting:
      return "starting";
    case base::CellState::kReady:
      return "ready";
    case base::CellState::kMeasuring:
      return "measuring";
    case base::CellState::kResult:
      return "result";
    case base::CellState::kFault:
      return "fault";
    case base::CellState::kBypass:
      return "bypass: parts pass unmeasured";
    case base::CellState::kStopping:
      return "stopping";
  }
  return "unknown state";
}

// Whatever part ids and texts hold, a terminal sees no control characters.
std::string printable(std::string_view text) {
  std::string shown;
  for (const char c : text.substr(0, kLongestText)) {
    const auto byte = static_cast<unsigned char>(c);
    shown.push_back(byte < 0x20 || byte == 0x7F ? ' ' : c);
  }
  return shown;
}

// A descriptor of our own for the same file, that never blocks. The flags of the given one are shared with
// everybody who has it open, so they are left alone.
struct Sink {
  int fd = -1;
  bool is_socket = false;
};

Sink open_sink(int descriptor) {
  struct stat facts {};
  const bool is_file = ::fstat(descriptor, &facts) == 0 && S_ISREG(facts.st_mode);
  // A file never blocks, and its place is shared with whoever else writes to it: reopened, we would overwrite
  // them.
  if (!is_file) {
    const std::string path = "/proc/self/fd/" + std::to_string(descriptor);
    const int reopened = ::open(path.c_str(), O_WRONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (reopened >= 0) return {reopened, false};
  }
  const int copied = ::fcntl(descriptor, F_DUPFD_CLOEXEC, 0);
  int type = 0;
  socklen_t size = sizeof type;
  const bool is_socket = copied >= 0 && ::getsockopt(copied, SOL_SOCKET, SO_TYPE, &type, &size) == 0;
  return {copied, is_socket};
}

class Lamp final : public TerminalLamp {
 public:
  Lamp(Sink sink, TerminalLook look) : sink_(sink), look_(look) {}
  Lamp(const Lamp&) = delete;
  Lamp& operator=(const Lamp&) = delete;
  Lamp(Lamp&&) = delete;
  Lamp& operator=(Lamp&&) = delete;
  ~Lamp() override { Lamp::stop(); }

  [[nodiscard]] std::string_view name() const override { return "terminal"; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {false, "the last line stays on the terminal when the process dies: it may not carry green alone"};
  }
  [[nodiscard]] std::uint64_t dropped() const override { return dropped_; }

  base::Result<Applied> apply(const base::CellSignal& signal) override {
    if (sink_.fd < 0) return base::Error{base::ErrorCode::kCancelled, "the terminal lamp was stopped"};
    latest_ = signal;
    std::string line = lamp_line(signal, look_);
    // Two parts in a row may have the same line; the number tells them apart.
    const std::uint64_t number = signal.lamp == base::Lamp::kDark ? 0 : signal.sequence;
    const bool same = line == shown_ && number == shown_number_;
    if (const auto pushed = push(); !pushed) return pushed.error();  // the end of a line that was begun
    if (same) return Applied::kSent;
    if (!rest_.empty()) return busy();
    rest_ = line + "\n";
    const std::size_t whole = rest_.size();
    if (const auto pushed = push(); !pushed) return pushed.error();
    if (rest_.size() == whole) {
      rest_.clear();
      return busy();
    }
    shown_ = std::move(line);
    shown_number_ = number;
    return Applied::kSent;
  }

  void safe() override {
    if (sink_.fd < 0) return;
    // An error means that nothing was shown; the terminal never is the only output, and apply() tells the
    // cell.
    static_cast<void>(apply(made_safe(latest_)));
  }

  void stop() override {
    if (sink_.fd < 0) return;
    base::CellSignal last = made_safe(latest_);
    last.state = base::CellState::kStopping;
    static_cast<void>(apply(last));
    ::close(std::exchange(sink_.fd, -1));
  }

 private:
  base::Error busy() {
    ++dropped_;
    return {base::ErrorCode::kBusy, "the terminal takes nothing just now"};
  }

  // Writes as much of what is owed as the descriptor takes without waiting.
  base::Outcome push() {
    while (!rest_.empty()) {
      const ssize_t written = write_some();
      if (written >= 0) {
        rest_.erase(0, static_cast<std::size_t>(written));
      } else if (errno == EAGAIN) {
        break;
      } else if (errno != EINTR) {
        rest_.clear();
        return base::Error{base::ErrorCode::kIo, "cannot write to the terminal"};
      }
    }
    return base::Done{};
  }

  ssize_t write_some() {
    if (sink_.is_socket) return ::send(sink_.fd, rest_.data(), rest_.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
    pollfd ready{sink_.fd, POLLOUT, 0};
    if (::poll(&ready, 1, 0) == 0) {
      errno = EAGAIN;
      return -1;
    }
    if ((ready.revents & (POLLERR | POLLHUP)) != 0) {
      errno = EPIPE;  // nobody reads: writing would raise a signal
      return -1;
    }
    return ::write(sink_.fd, rest_.data(), rest_.size());
  }

  Sink sink_;
  TerminalLook look_;
  base::CellSignal latest_;
  std::string shown_;
  std::uint64_t shown_number_ = 0;
  std::string rest_;  // of a line that was begun
  std::uint64_t dropped_ = 0;
};

}  // namespace

TerminalLook terminal_look(int descriptor, const char* no_color, const char* term) {
  const bool unwanted = no_color != nullptr && *no_color != '\0';
  const bool dumb = term == nullptr || *term == '\0' || std::string_view(term) == "dumb";
  return !unwanted && !dumb && ::isatty(descriptor) == 1 ? TerminalLook::kColour : TerminalLook::kPlain;
}

std::string lamp_line(const base::CellSignal& signal, TerminalLook look) {
  const Face face = face_of(signal);
  const bool lit = face.word != "----";
  std::string text = printable(signal.line);
  if (!lit || text.empty())
    text = std::string(lit ? base::text_of(signal.reason).sentence : state_word(signal.state));
  std::string line;
  if (look == TerminalLook::kColour) {
    line = std::string(face.colour) + std::string(face.shape) + " " + std::string(face.word) + "\x1b[0m";
  } else {
    line = std::string(face.word);
  }
  return line + "  " + text;
}

base::Result<std::unique_ptr<TerminalLamp>> make_terminal_lamp(int descriptor, TerminalLook look) {
  const Sink sink = open_sink(descriptor);
  if (sink.fd < 0) {
    return base::Error{base::ErrorCode::kIo,
                       "terminal lamp: descriptor " + std::to_string(descriptor) + " cannot be written"};
  }
  std::unique_ptr<TerminalLamp> lamp = std::make_unique<Lamp>(sink, look);
  return lamp;
}

}  // namespace crestgate::driver
