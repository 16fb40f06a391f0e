// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/guard/guard_device.h"

#include <array>
#include <cstdlib>
#include <cstring>

#include <fcntl.h>
#include <gpiod.h>
#include <sys/file.h>
#include <termios.h>
#include <unistd.h>

namespace crestgate::driver {
namespace {

class Gpio final : public GuardedDevice {
 public:
  bool parse(char** words) {
    name_ = words[0];
    char* list = name_ == nullptr ? nullptr : words[1];
    for (; list != nullptr && count < kMostGuarded; ++count) {
      Line& line = lines_[count];
      line.name = ::strsep(&list, ",");
      line.flags = *line.name == '!' ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;
      if (*line.name == '!') ++line.name;
      if (*line.name == '\0') return false;
    }
    if (count == 0 || list != nullptr) return false;
    const char* pull = words[2];
    if (pull == nullptr) return true;
    if (std::strcmp(pull, "pull-up") == 0) bias_ = GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP;
    if (std::strcmp(pull, "pull-down") == 0) bias_ = GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN;
    if (std::strcmp(pull, "no-pull") == 0) bias_ = GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE;
    return bias_ != 0 && words[3] == nullptr;
  }

  bool open() override {
    for (Line& line : lines_) line.held = nullptr;
    if (chip_ != nullptr) ::gpiod_chip_close(chip_);  // and the lines with it
    chip_ = *name_ == '/' ? ::gpiod_chip_open(name_) : ::gpiod_chip_open_by_name(name_);
    if (chip_ == nullptr && *name_ != '/') chip_ = ::gpiod_chip_open_by_label(name_);
    bool all_off = chip_ != nullptr;
    for (std::size_t i = 0; chip_ != nullptr && i < count; ++i) {
      gpiod_line* found = find(lines_[i].name);
      const int flags = lines_[i].flags | bias_;
      if (found != nullptr && ::gpiod_line_request_output_flags(found, "crestgate-guard", flags, 0) == 0)
        lines_[i].held = found;
      all_off = still(i, false) && all_off;
    }
    return all_off;
  }

  bool put(std::size_t light, bool on) override {
    gpiod_line* line = lines_[light].held;
    return line != nullptr && ::gpiod_line_set_value(line, on ? 1 : 0) == 0 && still(light, on);
  }
  bool still(std::size_t light, bool on) override {
    gpiod_line* line = lines_[light].held;
    return line != nullptr && ::gpiod_line_get_value(line) == (on ? 1 : 0);
  }

 private:
  struct Line {
    const char* name = nullptr;
    int flags = 0;
    gpiod_line* held = nullptr;
  };

  // By its number when there are only digits, else the only line of that name.
  gpiod_line* find(const char* wanted) {
    const unsigned total = ::gpiod_chip_num_lines(chip_);
    char* end = nullptr;
    const unsigned long number = std::strtoul(wanted, &end, 10);
    if (*end == '\0') {
      return number < total ? ::gpiod_chip_get_line(chip_, static_cast<unsigned>(number)) : nullptr;
    }
    gpiod_line* found = nullptr;
    for (unsigned i = 0; i < total; ++i) {
      gpiod_line* line = ::gpiod_chip_get_line(chip_, i);
      const char* called = line == nullptr ? nullptr : ::gpiod_line_name(line);
      if (called == nullptr || std::strcmp(called, wanted) != 0) continue;
      if (found != nullptr) return nullptr;
      found = line;
    }
    return found;
  }

  const char* name_ = nullptr;
  int bias_ = 0;
  gpiod_chip* chip_ = nullptr;
  std::array<Line, kMostGuarded> lines_{};
};

struct Command {
  std::array<unsigned char, 64> bytes{};
  std::size_t size = 0;
};

int digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

// Reads pairs of hexadecimal digits (small letters) up to `stop`; returns where that is. Null: it is not so.
const char* read_hex(const char* text, char stop, Command& command) {
  for (; *text != stop; text += 2) {
    const int high = digit(text[0]);
    const int low = high < 0 ? -1 : digit(text[1]);
    if (low < 0 || command.size == command.bytes.size()) return nullptr;
    command.bytes[command.size++] = static_cast<unsigned char>(high * 16 + low);
  }
  return command.size == 0 ? nullptr : text;
}

class Serial final : public GuardedDevice {
 public:
  bool parse(char** words) {
    path_ = words[0];
    if (path_ == nullptr || words[1] == nullptr) return false;
    char* parity = nullptr;
    baud_ = static_cast<speed_t>(std::strtoul(words[1], &parity, 10));
    if (std::strcmp(parity, "e") == 0) parity_ = PARENB;
    if (std::strcmp(parity, "o") == 0) parity_ = PARENB | PARODD;
    if ((*parity != '\0') != (parity_ != 0)) return false;
    words += 2;
    if (*words != nullptr && std::strncmp(*words, "first=", 6) == 0) {
      if (read_hex(*words++ + 6, '\0', first_) == nullptr) return false;
    }
    for (; *words != nullptr && count < kMostGuarded; ++words, ++count) {
      const char* colon = read_hex(*words, ':', on_[count]);
      if (colon == nullptr || read_hex(colon + 1, '\0', off_[count]) == nullptr) return false;
    }
    return count > 0 && *words == nullptr;
  }

  bool open() override {
    if (fd >= 0) {
      ::tcflush(fd, TCOFLUSH);  // bytes that cannot be sent would make closing wait
      ::close(fd);
    }
    fd = ::open(path_, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (fd >= 0 && (::flock(fd, LOCK_EX | LOCK_NB) != 0 || !set_up())) {
      ::close(fd);  // somebody else's, or no serial port: not a byte for it
      fd = -1;
    }
    if (fd < 0) return false;
    bool all_off = first_.size == 0 || send(first_);
    // Twice: a device that was left in the middle of a command takes the next one for the rest of it.
    for (std::size_t i = 0; i < 2 * count; ++i) all_off = put(i % count, false) && all_off;
    return all_off;
  }

  bool put(std::size_t light, bool on) override { return send(on ? on_[light] : off_[light]); }
  bool still(std::size_t /*light*/, bool /*on*/) override { return true; }

 private:
  bool set_up() {
    termios settings{};
    if (::tcgetattr(fd, &settings) != 0) return false;
    ::cfmakeraw(&settings);
    settings.c_cflag &= ~tcflag_t{HUPCL | CRTSCTS | CSTOPB | PARENB | PARODD};
    settings.c_cflag |= tcflag_t{CLOCAL | CREAD} | parity_;
    settings.c_iflag &= ~tcflag_t{IXOFF | IXANY | INPCK};
    // cfsetspeed of glibc takes the number itself.
    return ::cfsetspeed(&settings, baud_) == 0 && ::tcsetattr(fd, TCSANOW, &settings) == 0 &&
           ::tcflush(fd, TCIOFLUSH) == 0;
  }

  bool send(const Command& command) {
    ::tcflush(fd, TCIFLUSH);  // nobody reads what it answers
    return ::write(fd, command.bytes.data(), command.size) == static_cast<ssize_t>(command.size);
  }

  const char* path_ = nullptr;
  speed_t baud_ = 0;
  tcflag_t parity_ = 0;
  Command first_;
  std::array<Command, kMostGuarded> on_{};
  std::array<Command, kMostGuarded> off_{};
};

}  // namespace

GuardedDevice* guarded_device(char** words) {
  static Gpio gpio;
  static Serial serial;
  if (words[0] == nullptr) return nullptr;
  if (std::strcmp(words[0], "gpio") == 0 && gpio.parse(words + 1)) return &gpio;
  if (std::strcmp(words[0], "serial") == 0 && serial.parse(words + 1)) return &serial;
  return nullptr;
}

}  // namespace crestgate::driver
