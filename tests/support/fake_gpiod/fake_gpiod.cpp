// SPDX-License-Identifier: Apache-2.0
// A library in the place of libgpiod 1.6: the same functions as far as our programs call them, over files. It is
// worse than a kernel would be: a line keeps its level when its process dies, until somebody sets it again.
//
// It is built as libgpiod.so.2, so it takes the place of the real one in any program without that being built anew:
//   LD_LIBRARY_PATH=<build>/fake_gpiod PROGRAM     (works under the sanitizers too), or
//   LD_PRELOAD=<build>/fake_gpiod/libgpiod.so.2 PROGRAM
//
// All it knows lies in the directory that FAKE_GPIOD_DIR names (unset: there is no chip at all):
//   CHIP.chip       made by the test: the first line is the chip's label, each further one the name of a line,
//                   empty when it has none. "CHIP" is the chip's name; it opens by this name, by "/dev/CHIP", by the
//                   path of the file and by its label.
//   CHIP.levels     one character a line, '0' or '1': the level of the pin, whatever "active low" makes of it.
//                   Lines that are not there yet are '0'. Survives everything; a test may write it beforehand.
//   CHIP.N.owner    locked (flock) as long as line N is requested: a second request is EBUSY. Holds the
//                   consumer.
//   log             one line for every level that was set, changed or not: "NS PID CHIP N OLD NEW WHAT", NS being
//                   CLOCK_MONOTONIC, WHAT one of request, set.
//   faults          made by the test, read with every call; each line is one of
//                     ACTION NUMBER    the action (open, request, set, get) fails with this errno
//                     stuck N LEVEL    the pin of line N reads LEVEL whatever was set
//
// A file that has no ".chip" is no chip (ENOTTY).

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>
#include <vector>

#include <fcntl.h>
#include <gpiod.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

namespace fs = std::filesystem;

struct gpiod_line {
  gpiod_chip* chip = nullptr;
  unsigned offset = 0;
  std::string name;
  std::string consumer;
  bool active_low = false;
  int lock = -1;  // of the owner's file
};

struct gpiod_chip {
  fs::path folder;
  std::string name;
  std::string label;
  std::vector<std::unique_ptr<gpiod_line>> lines;
};

namespace {

fs::path folder() {
  const char* named = std::getenv("FAKE_GPIOD_DIR");
  return named == nullptr ? fs::path() : fs::path(named);
}

// The errno that `action` shall fail with; 0: none.
int fault(const fs::path& where, const std::string& action) {
  std::ifstream file(where / "faults");
  std::string word;
  int number = 0;
  for (std::string line; std::getline(file, line);) {
    if (std::istringstream(line) >> word >> number && word == action) return number;
  }
  return 0;
}

bool fails(const fs::path& where, const std::string& action) {
  errno = fault(where, action);
  return errno != 0;
}

// The levels are written in place, one byte each: two processes with different lines do not meet.
fs::path levels_of(const gpiod_chip& chip) { return chip.folder / (chip.name + ".levels"); }

char level_of(const gpiod_line& line) {
  char level = '0';
  const int fd = ::open(levels_of(*line.chip).c_str(), O_RDONLY | O_CLOEXEC);
  if (fd >= 0 && ::pread(fd, &level, 1, line.offset) != 1) level = '0';
  if (fd >= 0) ::close(fd);
  return level == '1' ? '1' : '0';
}

int put_level(const gpiod_line& line, bool high, const char* what) {
  const char level = high ? '1' : '0';
  const char old = level_of(line);
  const int fd = ::open(levels_of(*line.chip).c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0644);
  const bool written = fd >= 0 && ::pwrite(fd, &level, 1, line.offset) == 1;
  if (fd >= 0) ::close(fd);
  if (!written) return -1;
  timespec now{};
  ::clock_gettime(CLOCK_MONOTONIC, &now);
  std::ostringstream text;
  text << now.tv_sec * 1'000'000'000LL + now.tv_nsec << ' ' << ::getpid() << ' ' << line.chip->name << ' '
       << line.offset << ' ' << old << ' ' << level << ' ' << what << '\n';
  const std::string entry = text.str();
  const int log =
      ::open((line.chip->folder / "log").c_str(), O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0644);
  if (log < 0) return -1;
  const ssize_t logged = ::write(log, entry.data(), entry.size());
  ::close(log);
  return logged == static_cast<ssize_t>(entry.size()) ? 0 : -1;
}

fs::path owner_of(const gpiod_line& line) {
  return line.chip->folder / (line.chip->name + "." + std::to_string(line.offset) + ".owner");
}

// Null with ENOENT when there is no such chip.
gpiod_chip* load(const fs::path& where, const std::string& name) {
  std::ifstream file(where / (name + ".chip"));
  if (where.empty() || name.empty() || !file) {
    errno = ENOENT;
    return nullptr;
  }
  if (fails(where, "open")) return nullptr;
  auto chip = std::make_unique<gpiod_chip>();
  chip->folder = where;
  chip->name = name;
  std::getline(file, chip->label);
  for (std::string line; std::getline(file, line);) {
    auto made = std::make_unique<gpiod_line>();
    made->chip = chip.get();
    made->offset = static_cast<unsigned>(chip->lines.size());
    made->name = line;
    chip->lines.push_back(std::move(made));
  }
  return chip.release();
}

void let_go(gpiod_line& line) {
  if (line.lock >= 0) ::close(line.lock);
  line.lock = -1;
}

}  // namespace

extern "C" {

gpiod_chip* gpiod_chip_open_by_name(const char* name) { return load(folder(), name); }

gpiod_chip* gpiod_chip_open(const char* path) {
  const fs::path file(path);
  if (file.parent_path() == "/dev" && fs::exists(folder() / (file.filename().string() + ".chip")))
    return load(folder(), file.filename());
  if (file.extension() == ".chip") return load(file.parent_path(), file.stem());
  errno = fs::exists(file) ? ENOTTY : ENOENT;
  return nullptr;
}

gpiod_chip* gpiod_chip_open_by_label(const char* label) {
  std::vector<fs::path> files;
  std::error_code none;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder(), none)) {
    if (entry.path().extension() == ".chip") files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  for (const fs::path& file : files) {
    gpiod_chip* chip = load(folder(), file.stem());
    if (chip != nullptr && chip->label == label) return chip;
    delete chip;
  }
  errno = ENOENT;
  return nullptr;
}

void gpiod_chip_close(gpiod_chip* chip) {
  for (const auto& line : chip->lines) let_go(*line);
  delete chip;
}

const char* gpiod_chip_name(gpiod_chip* chip) { return chip->name.c_str(); }
const char* gpiod_chip_label(gpiod_chip* chip) { return chip->label.c_str(); }
unsigned int gpiod_chip_num_lines(gpiod_chip* chip) { return static_cast<unsigned>(chip->lines.size()); }

gpiod_line* gpiod_chip_get_line(gpiod_chip* chip, unsigned int offset) {
  if (offset < chip->lines.size()) return chip->lines[offset].get();
  errno = EINVAL;
  return nullptr;
}

const char* gpiod_line_name(gpiod_line* line) { return line->name.empty() ? nullptr : line->name.c_str(); }
unsigned int gpiod_line_offset(gpiod_line* line) { return line->offset; }

// Of a line that is in use, by whomever.
const char* gpiod_line_consumer(gpiod_line* line) {
  const int fd = ::open(owner_of(*line).c_str(), O_RDONLY | O_CLOEXEC);
  const bool used = fd >= 0 && ::flock(fd, LOCK_SH | LOCK_NB) != 0;
  if (fd >= 0) ::close(fd);
  if (!used) return nullptr;
  std::ifstream file(owner_of(*line));
  std::getline(file, line->consumer);
  return line->consumer.c_str();
}

int gpiod_line_request_output_flags(gpiod_line* line, const char* consumer, int flags, int default_val) {
  if (fails(line->chip->folder, "request")) return -1;
  const int lock = ::open(owner_of(*line).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (lock < 0) return -1;
  if (line->lock >= 0 || ::flock(lock, LOCK_EX | LOCK_NB) != 0) {
    ::close(lock);
    errno = EBUSY;
    return -1;
  }
  const std::string text = std::string(consumer) + "\n";
  if (::ftruncate(lock, 0) != 0 || ::pwrite(lock, text.data(), text.size(), 0) < 0) {
    ::close(lock);
    errno = EIO;
    return -1;
  }
  line->lock = lock;
  line->active_low = (flags & GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW) != 0;
  return put_level(*line, (default_val != 0) != line->active_low, "request");
}

void gpiod_line_release(gpiod_line* line) { let_go(*line); }

int gpiod_line_set_value(gpiod_line* line, int value) {
  if (line->lock < 0) {
    errno = EPERM;
    return -1;
  }
  if (fails(line->chip->folder, "set")) return -1;
  return put_level(*line, (value != 0) != line->active_low, "set");
}

int gpiod_line_get_value(gpiod_line* line) {
  if (line->lock < 0) {
    errno = EPERM;
    return -1;
  }
  if (fails(line->chip->folder, "get")) return -1;
  char level = level_of(*line);
  std::ifstream file(line->chip->folder / "faults");
  std::string word;
  unsigned offset = 0;
  char stuck = '0';
  for (std::string text; std::getline(file, text);) {
    if (std::istringstream(text) >> word >> offset >> stuck && word == "stuck" && offset == line->offset)
      level = stuck;
  }
  return (level == '1') != line->active_low ? 1 : 0;
}

}  // extern "C"
