// SPDX-License-Identifier: Apache-2.0
#pragma once
// A disk in memory that can lose its power. It keeps a journal of everything done to it; after_crash builds,
// from any moment of the journal, a disk as it may look when the power comes back: what was synced is there,
// of the rest any part in units of 512-byte sectors, in any order, some sectors torn; names that were not
// synced may be missing.

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "protocol/ledger/file_system.h"

namespace crestgate::protocol {

using Bytes = std::vector<std::byte>;

struct DiskOperation {
  enum class Kind { kLink, kRename, kRemove, kMakeDirectory, kWrite, kTruncate, kSync, kSyncDirectory };
  Kind kind = Kind::kWrite;
  std::string path = {};  // of names; for kRename the old one
  std::string to = {};
  std::size_t inode = 0;
  std::uint64_t offset = 0;  // kWrite; for kTruncate the new size
  Bytes bytes = {};
};

// What happens to each piece that was not synced.
enum class Loss { kNothingKept, kAllKept, kRandom };

class SimulatedDisk final : public FileSystem {
 public:
  SimulatedDisk();

  base::Result<std::unique_ptr<File>> open(const std::filesystem::path& path, Access access) override;
  base::Outcome rename(const std::filesystem::path& from, const std::filesystem::path& to) override;
  base::Outcome remove(const std::filesystem::path& path) override;
  base::Outcome make_directory(const std::filesystem::path& path) override;
  base::Outcome sync_directory(const std::filesystem::path& path) override;
  base::Result<std::vector<std::string>> list(const std::filesystem::path& directory) override;
  base::Result<bool> is_directory(const std::filesystem::path& path) override;
  base::Result<std::unique_ptr<FileLock>> lock(const std::filesystem::path& path) override;

  // Direct access for tests that damage files. Not in the journal.
  Bytes& content(const std::string& path);
  void put(const std::string& path, Bytes bytes);
  void erase(const std::string& path);
  [[nodiscard]] std::vector<std::string> paths() const;

  [[nodiscard]] std::size_t operations() const { return journal_.size(); }

  // The disk after a loss of power behind the first `operations` ones. Its content counts as synced, its
  // journal is empty.
  [[nodiscard]] std::unique_ptr<SimulatedDisk> after_crash(std::size_t operations, Loss loss,
                                                           std::uint64_t seed) const;
  // The same content, all of it synced.
  [[nodiscard]] std::unique_ptr<SimulatedDisk> copy() const;

 private:
  friend class SimulatedFile;
  using Names = std::map<std::string, std::size_t>;
  struct Image {
    Names names;
    std::set<std::string> directories;
    std::vector<Bytes> inodes;
  };
  static void apply_name(const DiskOperation& operation, Image& image);

  Image start_;  // when the journal began
  Image now_;
  std::set<std::string> locked_;
  std::vector<DiskOperation> journal_;
};

}  // namespace crestgate::protocol
