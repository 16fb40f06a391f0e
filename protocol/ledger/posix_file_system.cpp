// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cerrno>
#include <csignal>
#include <ctime>
#include <system_error>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "protocol/ledger/file_system.h"

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

// Written by the daemon, readable by everyone (less the umask).
constexpr mode_t kFileMode = 0644;
constexpr mode_t kDirectoryMode = 0755;

base::ErrorCode code_of(int error) {
  switch (error) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
      return base::ErrorCode::kNoSpace;
    case ENOENT:
      return base::ErrorCode::kNotFound;
    default:
      return base::ErrorCode::kIo;
  }
}

base::Error failure(std::string_view operation, const fs::path& path, int error) {
  return {code_of(error),
          std::string(operation) + " " + path.string() + ": " + std::generic_category().message(error)};
}

// Repeats a call that a signal interrupted; -1 is then a real failure, with errno.
template <class Call>
auto uninterrupted(Call call) {
  auto result = call();
  while (result == -1 && errno == EINTR) result = call();
  return result;
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  Descriptor& operator=(Descriptor&&) = delete;
  // A failing close is of no interest here: whatever must be on the disk was synced before.
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  [[nodiscard]] int number() const { return number_; }

 private:
  int number_;
};

// Holds SIGXFSZ back from this thread: by default it would end the process when a file meets RLIMIT_FSIZE.
// The write then fails with EFBIG, and the signal that waits is taken away.
class FileSizeSignalGuard {
 public:
  FileSizeSignalGuard() {
    sigemptyset(&signal_);
    sigaddset(&signal_, SIGXFSZ);
    ::pthread_sigmask(SIG_BLOCK, &signal_, &before_);
  }
  FileSizeSignalGuard(const FileSizeSignalGuard&) = delete;
  FileSizeSignalGuard& operator=(const FileSizeSignalGuard&) = delete;
  FileSizeSignalGuard(FileSizeSignalGuard&&) = delete;
  FileSizeSignalGuard& operator=(FileSizeSignalGuard&&) = delete;
  ~FileSizeSignalGuard() {
    const int error = errno;
    const timespec no_wait{};
    if (sigismember(&before_, SIGXFSZ) == 0) {
      while (::sigtimedwait(&signal_, nullptr, &no_wait) == SIGXFSZ) continue;
    }
    ::pthread_sigmask(SIG_SETMASK, &before_, nullptr);
    errno = error;
  }

 private:
  sigset_t signal_{};
  sigset_t before_{};
};

class PosixFile final : public File {
 public:
  PosixFile(Descriptor descriptor, fs::path path)
      : descriptor_(std::move(descriptor)), path_(std::move(path)) {}

  base::Result<std::size_t> append(std::span<const std::byte> bytes) override {
    const FileSizeSignalGuard guard;
    const ssize_t written =
        uninterrupted([&] { return ::write(descriptor_.number(), bytes.data(), bytes.size()); });
    if (written < 0) return failure("write", path_, errno);
    return static_cast<std::size_t>(written);
  }

  base::Result<std::size_t> read_at(std::uint64_t offset, std::span<std::byte> into) override {
    std::size_t done = 0;
    while (done < into.size()) {
      const std::span<std::byte> rest = into.subspan(done);
      const ssize_t got = uninterrupted([&] {
        return ::pread(descriptor_.number(), rest.data(), rest.size(), static_cast<off_t>(offset + done));
      });
      if (got < 0) return failure("read", path_, errno);
      if (got == 0) break;
      done += static_cast<std::size_t>(got);
    }
    return done;
  }

  base::Result<std::uint64_t> size() override {
    struct stat status {};
    if (::fstat(descriptor_.number(), &status) != 0) return failure("stat", path_, errno);
    return static_cast<std::uint64_t>(status.st_size);
  }

  base::Outcome truncate(std::uint64_t size) override {
    const int done =
        uninterrupted([&] { return ::ftruncate(descriptor_.number(), static_cast<off_t>(size)); });
    if (done != 0) return failure("truncate", path_, errno);
    return base::Done{};
  }

  base::Outcome sync_data() override {
    if (uninterrupted([&] { return ::fdatasync(descriptor_.number()); }) != 0) {
      return failure("fdatasync", path_, errno);
    }
    return base::Done{};
  }

 private:
  Descriptor descriptor_;
  fs::path path_;
};

// The lock of flock belongs to the open file, so a second open of the same process is kept out too.
class PosixLock final : public FileLock {
 public:
  explicit PosixLock(Descriptor descriptor) : descriptor_(std::move(descriptor)) {}

 private:
  Descriptor descriptor_;
};

class PosixFileSystem final : public FileSystem {
 public:
  base::Result<std::unique_ptr<File>> open(const fs::path& path, Access access) override {
    int flags = O_CLOEXEC;
    if (access == Access::kRead) flags |= O_RDONLY;
    if (access == Access::kAppend) flags |= O_RDWR | O_APPEND;
    if (access == Access::kCreate) flags |= O_RDWR | O_APPEND | O_CREAT | O_TRUNC;
    Descriptor descriptor(uninterrupted([&] { return ::open(path.c_str(), flags, kFileMode); }));
    if (descriptor.number() < 0) return failure("open", path, errno);
    std::unique_ptr<File> file = std::make_unique<PosixFile>(std::move(descriptor), path);
    return file;
  }

  base::Outcome rename(const fs::path& from, const fs::path& to) override {
    if (::rename(from.c_str(), to.c_str()) != 0) return failure("rename", from, errno);
    return base::Done{};
  }

  base::Outcome remove(const fs::path& path) override {
    if (::unlink(path.c_str()) != 0) return failure("remove", path, errno);
    return base::Done{};
  }

  base::Outcome make_directory(const fs::path& path) override {
    if (::mkdir(path.c_str(), kDirectoryMode) != 0 && errno != EEXIST) {
      return failure("make directory", path, errno);
    }
    return base::Done{};
  }

  base::Outcome sync_directory(const fs::path& path) override {
    const Descriptor descriptor(
        uninterrupted([&] { return ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC); }));
    if (descriptor.number() < 0) return failure("open directory", path, errno);
    if (uninterrupted([&] { return ::fsync(descriptor.number()); }) != 0) {
      return failure("fsync of directory", path, errno);
    }
    return base::Done{};
  }

  base::Result<std::vector<std::string>> list(const fs::path& directory) override {
    std::error_code error;
    fs::directory_iterator it(directory, error);
    std::vector<std::string> names;
    for (; !error && it != fs::directory_iterator(); it.increment(error)) {
      names.push_back(it->path().filename().string());
    }
    if (error) return failure("list", directory, error.value());
    std::sort(names.begin(), names.end());
    return names;
  }

  base::Result<bool> is_directory(const fs::path& path) override {
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0) return failure("stat", path, errno);
    return S_ISDIR(status.st_mode);
  }

  base::Result<std::unique_ptr<FileLock>> lock(const fs::path& path) override {
    Descriptor descriptor(
        uninterrupted([&] { return ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, kFileMode); }));
    if (descriptor.number() < 0) return failure("open lock", path, errno);
    if (uninterrupted([&] { return ::flock(descriptor.number(), LOCK_EX | LOCK_NB); }) != 0) {
      if (errno == EWOULDBLOCK)
        return base::Error{base::ErrorCode::kBusy, path.string() + " is held by another"};
      return failure("lock", path, errno);
    }
    std::unique_ptr<FileLock> lock = std::make_unique<PosixLock>(std::move(descriptor));
    return lock;
  }
};

}  // namespace

std::unique_ptr<FileSystem> posix_file_system() { return std::make_unique<PosixFileSystem>(); }

}  // namespace crestgate::protocol
