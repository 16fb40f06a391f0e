// SPDX-License-Identifier: Apache-2.0
// crestgate-guard: owns lights, and drops them all when nobody renews them in time.
//
//   crestgate-guard gpio CHIP [!]LINE[,[!]LINE...] [pull-up|pull-down|no-pull]      !: lit when the pin is low
//   crestgate-guard serial PATH BAUD[e|o] [first=HEX] HEX_ON:HEX_OFF...               first: sent on opening
//   crestgate-guard off gpio|serial ...             all off, then it ends: for a service manager's stop hook
//
// It talks with its daemon over stdin and stdout in frames of guard_frame.h. It begins by switching all off, and
// says so. A lease that runs out drops all; the guard goes on, and a frame with a fresh stamp lights again.
//
// Every way in which it can end, and what that leaves:
//   end of file; a signal that can be caught; 5 s without a frame        all off, exit 0
//   a malformed frame; an answer that nobody takes; a failing device     all off, exit 1
//   wrong arguments                                                      nothing was touched, exit 2
//   the device cannot be opened, or not be switched off, at the start    whatever was, exit 3
//   SIGKILL, a crash                            whatever was: the daemon sees the end of file and starts another
//                                               guard, which begins with all off
//   SIGKILL of both, power, the kernel          whatever was, until the next start
// To be stopped (SIGSTOP) is no end and leaves whatever was: the daemon misses the answers, kills the guard and
// starts another. "All off" is waited for: while it fails, the guard tries again every 50 ms, opening the device
// anew, deaf to everything but SIGKILL. With `off` it does so from the start, and signals end it.

#include <array>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <ctime>

#include <fcntl.h>
#include <poll.h>
#include <sys/mman.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "driver/signal/guard/guard_device.h"
#include "driver/signal/guard/guard_frame.h"

namespace crestgate::driver {
namespace {

constexpr std::uint32_t kSilenceMs = 5'000;
constexpr int kRetryMs = 50;

// The clock of the stamps. It wraps, so times are only ever subtracted.
std::uint32_t now_ms() {
  timespec now{};
  ::clock_gettime(CLOCK_MONOTONIC, &now);
  return static_cast<std::uint32_t>(now.tv_sec * 1000 + now.tv_nsec / 1'000'000);
}

// Nothing that is written may wait: neither a log nor a daemon that does not read keeps the lights on.
bool takes(int fd) {
  pollfd watched{fd, POLLOUT, 0};
  return ::poll(&watched, 1, 0) == 1 && watched.revents == POLLOUT;
}
void say(const char* text) {
  if (takes(STDERR_FILENO)) ::dprintf(STDERR_FILENO, "crestgate-guard: %s\n", text);
}
bool answer(GuardSays kind, std::uint16_t lights, std::uint32_t stamp_ms) {
  const GuardBytes bytes = write_guard_frame({kind, lights, stamp_ms});
  return takes(STDOUT_FILENO) &&
         ::write(STDOUT_FILENO, bytes.data(), bytes.size()) == ssize_t{kGuardFrameSize};
}

bool is_set(std::uint16_t lights, std::size_t light) { return ((unsigned{lights} >> light) & 1U) != 0; }

// These two return when all is off, and not before.
void open_until_off(GuardedDevice& device, bool tell) {
  say("cannot switch the lights off; trying again every 50 ms");
  do {
    if (tell) answer(GuardSays::kFailing, 0, now_ms());
    ::poll(nullptr, 0, kRetryMs);
  } while (!device.open());
}
void drop_all(GuardedDevice& device) {
  bool all_off = true;
  for (std::size_t i = 0; i < device.count; ++i) all_off = device.put(i, false) && all_off;
  if (!all_off) open_until_off(device, true);
}

// Off before on, and then whether all is so.
bool show(GuardedDevice& device, std::uint16_t from, std::uint16_t to) {
  for (const bool on : {false, true}) {
    for (std::size_t i = 0; i < device.count; ++i) {
      if (is_set(to, i) == on && is_set(from, i) != on && !device.put(i, on)) return false;
    }
  }
  for (std::size_t i = 0; i < device.count; ++i) {
    if (!device.still(i, is_set(to, i))) return false;
  }
  return true;
}

class Guard {
 public:
  explicit Guard(GuardedDevice& device) : device_(device) {}

  // Until something ends it; all is off then.
  int serve(int signals) {
    if (!answer(GuardSays::kAre, 0, stamp_)) end("nobody takes the answers", 1);
    while (code_ < 0) turn(signals);
    drop_all(device_);
    return code_;
  }

 private:
  void turn(int signals) {
    std::array<pollfd, 3> watched{{{STDIN_FILENO, POLLIN, 0}, {signals, POLLIN, 0}, {device_.fd, 0, 0}}};
    const std::uint32_t limit = lit_ == 0 ? heard_ + kSilenceMs : stamp_ + kGuardLeaseMs;
    const auto left = static_cast<std::int32_t>(limit - now_ms());
    const int ready = ::poll(watched.data(), watched.size(), left < 0 ? 0 : left);
    if (ready < 0 && errno != EINTR) return end("cannot wait", 1);
    if (ready > 0 && watched[1].revents != 0) return end(nullptr, 0);
    if (ready > 0 && watched[2].revents != 0) return end("the device is gone", 1);
    if (ready > 0 && watched[0].revents != 0) hear();
    const std::uint32_t now = now_ms();
    if (lit_ != 0 && now - stamp_ >= kGuardLeaseMs) {
      drop_all(device_);
      lit_ = 0;
      if (!answer(GuardSays::kAre, 0, stamp_)) end("nobody takes the answers", 1);
    }
    if (now - heard_ >= kSilenceMs) end("nobody spoke for 5 s", 0);
  }

  void hear() {
    const ssize_t got = ::read(STDIN_FILENO, bytes_.data() + have_, bytes_.size() - have_);
    if (got < 0 && (errno == EINTR || errno == EAGAIN)) return;
    if (got <= 0) return end(nullptr, 0);
    have_ += static_cast<std::size_t>(got);
    if (have_ < bytes_.size()) return;
    have_ = 0;
    GuardFrame frame;
    const bool whole = read_guard_frame(bytes_, frame) && frame.kind == GuardSays::kSet;
    const std::uint32_t age_ms = now_ms() - frame.stamp_ms;
    // A stamp from the future has an age of weeks.
    if (!whole || frame.lights >> device_.count != 0 || age_ms > UINT32_MAX / 2)
      return end("a malformed frame", 1);
    heard_ = now_ms();
    stamp_ = frame.stamp_ms;
    const std::uint16_t wanted = age_ms < kGuardLeaseMs ? frame.lights : std::uint16_t{0};
    if (!show(device_, lit_, wanted)) return end("the device does not do as it is told", 1);
    lit_ = wanted;
    if (!answer(GuardSays::kAre, lit_, stamp_)) end("nobody takes the answers", 1);
  }

  void end(const char* why, int code) {
    if (why != nullptr) say(why);
    code_ = code;
  }

  GuardedDevice& device_;
  GuardBytes bytes_{};
  std::size_t have_ = 0;  // of them
  std::uint16_t lit_ = 0;
  std::uint32_t stamp_ = now_ms();  // from which the lease runs
  std::uint32_t heard_ = stamp_;
  int code_ = -1;  // not negative: it ends
};

// For every signal that would otherwise end or stop us.
int catch_signals() {
  ::signal(SIGPIPE, SIG_IGN);
  sigset_t caught{};
  ::sigfillset(&caught);
  for (const int harmless : {SIGPIPE, SIGCONT, SIGCHLD, SIGWINCH, SIGURG}) ::sigdelset(&caught, harmless);
  if (::pthread_sigmask(SIG_SETMASK, &caught, nullptr) != 0) return -1;
  return ::signalfd(-1, &caught, SFD_CLOEXEC);
}

int run(char** words) {
  // Some are left open: the device must not become one of the three that are read from or written to.
  for (int fd = 0; fd >= 0 && fd < 3;) fd = ::open("/dev/null", O_RDWR | O_CLOEXEC);
  const bool only_off = *words != nullptr && std::strcmp(*words, "off") == 0;
  GuardedDevice* device = guarded_device(only_off ? words + 1 : words);
  if (device == nullptr) {
    say("usage: crestgate-guard [off] gpio CHIP [!]LINE[,[!]LINE...] [pull-up|pull-down|no-pull]\n"
        "       crestgate-guard [off] serial PATH BAUD[e|o] [first=HEX] HEX_ON:HEX_OFF...");
    return 2;
  }
  if (only_off) {
    if (!device->open()) open_until_off(*device, false);
    return 0;
  }
  const int signals = catch_signals();
  if (signals < 0 || !device->open()) {
    say("cannot open the device, or not switch it off");
    return 3;
  }
  ::mlockall(MCL_CURRENT);  // if we may: a disk that hangs must not hold us up
  return Guard(*device).serve(signals);
}

}  // namespace
}  // namespace crestgate::driver

int main(int argc, char** argv) { return argc < 1 ? 2 : crestgate::driver::run(argv + 1); }
