// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/serial_stream.h"

#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include "driver/stream/asio_stream.h"

namespace crestgate::driver {
namespace {

struct Rate {
  std::uint32_t baud;
  speed_t code;
};
constexpr std::array kRates = {
    Rate{1200, B1200},       Rate{2400, B2400},       Rate{4800, B4800},       Rate{9600, B9600},
    Rate{19200, B19200},     Rate{38400, B38400},     Rate{57600, B57600},     Rate{115200, B115200},
    Rate{230400, B230400},   Rate{460800, B460800},   Rate{500000, B500000},   Rate{576000, B576000},
    Rate{921600, B921600},   Rate{1000000, B1000000}, Rate{1152000, B1152000}, Rate{1500000, B1500000},
    Rate{2000000, B2000000}, Rate{2500000, B2500000}, Rate{3000000, B3000000}, Rate{3500000, B3500000},
    Rate{4000000, B4000000},
};

// Closes the descriptor unless it was handed on.
class OwnedFd {
 public:
  explicit OwnedFd(int fd) : fd_(fd) {}
  OwnedFd(const OwnedFd&) = delete;
  OwnedFd& operator=(const OwnedFd&) = delete;
  OwnedFd(OwnedFd&&) = delete;
  OwnedFd& operator=(OwnedFd&&) = delete;
  ~OwnedFd() {
    if (fd_ >= 0) ::close(fd_);
  }
  [[nodiscard]] int get() const { return fd_; }
  [[nodiscard]] int release() { return std::exchange(fd_, -1); }

 private:
  int fd_;
};

std::string errno_text(int number) { return std::system_category().message(number); }

base::Error open_error(const std::string& path, int number) {
  switch (number) {
    case ENOENT:
    case ENODEV:
    case ENXIO:
      return {base::ErrorCode::kNotFound, path + ": no such port; is it plugged in?"};
    case EACCES:
    case EPERM:
      return {base::ErrorCode::kRefused,
              path + ": no permission to open the port; the account must be in the group that owns it"};
    case EBUSY:
      return {base::ErrorCode::kBusy, path + ": another program has the port open for itself"};
    default:
      return {base::ErrorCode::kIo, path + ": cannot open the port (" + errno_text(number) + ")"};
  }
}

// Slave sides of pseudo-terminals have the majors 136 to 143 (Linux, Documentation/admin-guide/devices.txt).
bool is_pseudo_terminal(int fd) {
  struct stat status {};
  if (::fstat(fd, &status) != 0) return false;
  const unsigned number = major(status.st_rdev);
  return number >= 136 && number <= 143;
}

int open_retrying(const std::string& path) {
  int fd = -1;
  do {
    fd = ::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  } while (fd < 0 && errno == EINTR);
  return fd;
}

base::Outcome claim(int fd, const std::string& path) {
  int locked = -1;
  do {
    locked = ::flock(fd, LOCK_EX | LOCK_NB);
  } while (locked != 0 && errno == EINTR);
  if (locked != 0) {
    return base::Error{base::ErrorCode::kBusy, path + ": another program has locked the port"};
  }
  if (is_pseudo_terminal(fd)) return base::Done{};
  int exclusive = 0;
  if (::ioctl(fd, TIOCGEXCL, &exclusive) == 0 && exclusive != 0) {
    return base::Error{base::ErrorCode::kBusy, path + ": another program has the port open for itself"};
  }
  if (::ioctl(fd, TIOCEXCL) != 0) {
    return base::Error{base::ErrorCode::kIo,
                       path + ": cannot keep others out of the port (" + errno_text(errno) + ")"};
  }
  return base::Done{};
}

// Without HUPCL closing the port does not drop the modem lines, which would reset some USB devices.
constexpr tcflag_t kNotWanted = HUPCL | CRTSCTS | CSTOPB | PARENB | PARODD;
constexpr tcflag_t kNotRaw = IXOFF | IXANY | INPCK;  // cfmakeraw leaves these alone
constexpr tcflag_t kInput = IXON | IXOFF | IXANY | ICRNL | INLCR | IGNCR | ISTRIP | INPCK | PARMRK | BRKINT;

termios wanted_settings(const termios& now, const SerialOptions& options, speed_t speed) {
  termios wanted = now;
  ::cfmakeraw(&wanted);
  wanted.c_cflag |= CLOCAL | CREAD;
  wanted.c_cflag &= ~kNotWanted;
  wanted.c_iflag &= ~kNotRaw;
  if (options.parity != Parity::kNone) wanted.c_cflag |= PARENB;
  if (options.parity == Parity::kOdd) wanted.c_cflag |= PARODD;
  if (options.two_stop_bits) wanted.c_cflag |= CSTOPB;
  if (options.rts_cts) wanted.c_cflag |= CRTSCTS;
  wanted.c_cc[VMIN] = 1;  // with 0 an empty port reads as end of file
  wanted.c_cc[VTIME] = 0;
  ::cfsetspeed(&wanted, speed);
  return wanted;
}

// What the driver did not take, or "". tcsetattr succeeds if any single change was made.
std::string difference(const termios& wanted, const termios& found, bool pseudo) {
  if (::cfgetispeed(&wanted) != ::cfgetispeed(&found) || ::cfgetospeed(&wanted) != ::cfgetospeed(&found)) {
    return "the baud rate";
  }
  if (wanted.c_cc[VMIN] != found.c_cc[VMIN] || wanted.c_cc[VTIME] != found.c_cc[VTIME]) {
    return "waiting for one byte";
  }
  if (((wanted.c_iflag ^ found.c_iflag) & kInput) != 0) return "raw input";
  if (((wanted.c_oflag ^ found.c_oflag) & OPOST) != 0) return "raw output";
  if (((wanted.c_lflag ^ found.c_lflag) & (ICANON | ECHO | ISIG | IEXTEN)) != 0) return "raw mode";
  if (pseudo) return "";  // a pseudo-terminal drops parity and forces eight bits, which is no harm
  if (((wanted.c_cflag ^ found.c_cflag) & CSIZE) != 0) return "eight data bits";
  if (((wanted.c_cflag ^ found.c_cflag) & (PARENB | PARODD)) != 0) return "the parity";
  if (((wanted.c_cflag ^ found.c_cflag) & CSTOPB) != 0) return "the stop bits";
  if (((wanted.c_cflag ^ found.c_cflag) & CRTSCTS) != 0) return "the RTS/CTS handshake";
  return "";
}

base::Outcome configure(int fd, const std::string& path, const SerialOptions& options) {
  speed_t speed = B0;
  for (const Rate& rate : kRates) {
    if (rate.baud == options.baud) speed = rate.code;
  }
  if (speed == B0) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": " + std::to_string(options.baud) +
                                                            " baud is not a rate that this system knows "
                                                            "(1200 to 4000000, the usual steps)"};
  }
  termios now{};
  if (::tcgetattr(fd, &now) != 0) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": this is not a serial port"};
  }
  const termios wanted = wanted_settings(now, options, speed);
  if (::tcsetattr(fd, TCSANOW, &wanted) != 0) {
    return base::Error{base::ErrorCode::kIo, path + ": cannot set the port up (" + errno_text(errno) + ")"};
  }
  termios found{};
  if (::tcgetattr(fd, &found) != 0) {
    return base::Error{base::ErrorCode::kIo,
                       path + ": cannot read the settings back (" + errno_text(errno) + ")"};
  }
  const std::string refused = difference(wanted, found, is_pseudo_terminal(fd));
  if (!refused.empty()) {
    return base::Error{base::ErrorCode::kIo, path + ": the port's driver did not take " + refused};
  }
  ::tcflush(fd, TCIOFLUSH);
  return base::Done{};
}

using Descriptor = boost::asio::posix::stream_descriptor;

void discard_serial(Descriptor& port) { ::tcflush(port.native_handle(), TCIFLUSH); }
void release_serial(Descriptor& port) { ::ioctl(port.native_handle(), TIOCNXCL); }

}  // namespace

base::Result<std::unique_ptr<ByteStream>> open_serial(const boost::asio::any_io_executor& executor,
                                                      const std::string& path, const SerialOptions& options) {
  OwnedFd fd(open_retrying(path));
  if (fd.get() < 0) return open_error(path, errno);
  if (::isatty(fd.get()) == 0) {
    return base::Error{base::ErrorCode::kInvalidConfig, path + ": this is not a serial port"};
  }
  if (auto claimed = claim(fd.get(), path); !claimed) return claimed.error();
  if (auto configured = configure(fd.get(), path, options); !configured) {
    ::ioctl(fd.get(), TIOCNXCL);
    return configured.error();
  }
  Descriptor port(executor);
  boost::system::error_code error;
  port.assign(fd.get(), error);
  if (error) {
    ::ioctl(fd.get(), TIOCNXCL);
    return base::Error{base::ErrorCode::kIo, path + ": cannot watch the port (" + error.message() + ")"};
  }
  static_cast<void>(fd.release());
  const AsioStreamHooks<Descriptor> hooks{.discard = discard_serial, .before_close = release_serial};
  std::unique_ptr<ByteStream> stream = std::make_unique<AsioStream<Descriptor>>(std::move(port), path, hooks);
  return stream;
}

}  // namespace crestgate::driver
