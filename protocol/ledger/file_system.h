// SPDX-License-Identifier: Apache-2.0
#pragma once
// The seam between the ledger and the disk. The ledger touches files through this alone, so that tests can
// make each single operation fail, and can take the power away.
//
// Errors of all operations: kNoSpace (disk, quota or size limit), kNotFound, kBusy (lock), kIo; `detail`
// names operation, path and the system's reason.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "base/result.h"

namespace crestgate::protocol {

// One open file. Closed by the destructor.
// Threads  one at a time.
class File {
 public:
  virtual ~File() = default;

  // Writes at the end; returns how many bytes were written, which may be fewer than given and then is not an
  // error. An error may leave any part of `bytes` in the file.
  virtual base::Result<std::size_t> append(std::span<const std::byte> bytes) = 0;

  // Reads at `offset`; fewer bytes than asked for only at the end of the file.
  virtual base::Result<std::size_t> read_at(std::uint64_t offset, std::span<std::byte> into) = 0;

  virtual base::Result<std::uint64_t> size() = 0;
  virtual base::Outcome truncate(std::uint64_t size) = 0;

  // Everything written so far, and the size, are on the disk when this succeeds. After a failure nothing is
  // known any more; never call it again on this file.
  virtual base::Outcome sync_data() = 0;
};

// Held as long as it lives.
class FileLock {
 public:
  virtual ~FileLock() = default;
};

enum class Access {
  kRead,
  kAppend,  // an existing file, for reading and appending
  kCreate,  // a new empty file, for reading and appending; replaces one of this name
};

// Threads  safe to use from several threads.
class FileSystem {
 public:
  virtual ~FileSystem() = default;

  virtual base::Result<std::unique_ptr<File>> open(const std::filesystem::path& path, Access access) = 0;

  // Changes of names are on the disk only after sync_directory.
  virtual base::Outcome rename(const std::filesystem::path& from, const std::filesystem::path& to) = 0;
  virtual base::Outcome remove(const std::filesystem::path& path) = 0;
  virtual base::Outcome make_directory(const std::filesystem::path& path) = 0;  // fine if it is there
  virtual base::Outcome sync_directory(const std::filesystem::path& path) = 0;

  // Names without folders, sorted.
  virtual base::Result<std::vector<std::string>> list(const std::filesystem::path& directory) = 0;
  virtual base::Result<bool> is_directory(const std::filesystem::path& path) = 0;  // kNotFound if nothing

  // Exclusive, against other processes and against this one; creates the file. kBusy at once if it is held.
  virtual base::Result<std::unique_ptr<FileLock>> lock(const std::filesystem::path& path) = 0;
};

// The real one: POSIX calls, close-on-exec, interrupted calls repeated. A write beyond the process's file
// size limit is kNoSpace and not a signal. Lifetime  of the returned object: the caller's.
[[nodiscard]] std::unique_ptr<FileSystem> posix_file_system();

}  // namespace crestgate::protocol
