// SPDX-License-Identifier: Apache-2.0
#include "protocol/simulated_disk.h"

#include <algorithm>

namespace crestgate::protocol {

namespace fs = std::filesystem;
using Kind = DiskOperation::Kind;

namespace {

constexpr std::uint64_t kSectorBytes = 512;

base::Error not_found(const fs::path& path) {
  return {base::ErrorCode::kNotFound, path.string() + ": no such file or directory"};
}

void write_into(Bytes& image, std::uint64_t offset, std::span<const std::byte> bytes) {
  if (image.size() < offset + bytes.size()) image.resize(offset + bytes.size());
  std::copy(bytes.begin(), bytes.end(), image.begin() + static_cast<std::ptrdiff_t>(offset));
}

class Lottery {
 public:
  Lottery(Loss loss, std::uint64_t seed) : loss_(loss), random_(seed) {}
  bool keeps() { return loss_ == Loss::kRandom ? (random_() & 1U) != 0 : loss_ == Loss::kAllKept; }
  // How much of a kept sector arrived; mostly all of it.
  std::size_t part_of(std::size_t size) {
    if (loss_ != Loss::kRandom || (random_() & 7U) != 0) return size;
    return std::uniform_int_distribution<std::size_t>(0, size)(random_);
  }

 private:
  Loss loss_;
  std::mt19937_64 random_;
};

// Applies a write that was not synced: each sector on its own.
void write_some(Bytes& image, const DiskOperation& operation, Lottery& lottery) {
  std::uint64_t at = operation.offset;
  std::span<const std::byte> rest(operation.bytes);
  while (!rest.empty()) {
    const auto piece = rest.first(std::min<std::size_t>(rest.size(), kSectorBytes - at % kSectorBytes));
    if (lottery.keeps()) write_into(image, at, piece.first(lottery.part_of(piece.size())));
    rest = rest.subspan(piece.size());
    at += piece.size();
  }
  // The size may be on the disk before the sectors: they read as zero.
  const std::uint64_t end = operation.offset + operation.bytes.size();
  if (lottery.keeps() && image.size() < end) image.resize(end);
}

}  // namespace

class SimulatedFile final : public File {
 public:
  SimulatedFile(SimulatedDisk& disk, std::size_t inode) : disk_(disk), inode_(inode) {}

  base::Result<std::size_t> append(std::span<const std::byte> bytes) override {
    disk_.journal_.push_back({.kind = Kind::kWrite,
                              .inode = inode_,
                              .offset = image().size(),
                              .bytes = {bytes.begin(), bytes.end()}});
    image().insert(image().end(), bytes.begin(), bytes.end());
    return bytes.size();
  }
  base::Result<std::size_t> read_at(std::uint64_t offset, std::span<std::byte> into) override {
    if (offset >= image().size()) return std::size_t{0};
    const std::size_t count = std::min<std::size_t>(into.size(), image().size() - offset);
    std::copy_n(image().begin() + static_cast<std::ptrdiff_t>(offset), count, into.begin());
    return count;
  }
  base::Result<std::uint64_t> size() override { return std::uint64_t{image().size()}; }
  base::Outcome truncate(std::uint64_t size) override {
    disk_.journal_.push_back({.kind = Kind::kTruncate, .inode = inode_, .offset = size});
    image().resize(size);
    return base::Done{};
  }
  base::Outcome sync_data() override {
    disk_.journal_.push_back({.kind = Kind::kSync, .inode = inode_});
    return base::Done{};
  }

 private:
  Bytes& image() { return disk_.now_.inodes[inode_]; }
  SimulatedDisk& disk_;
  std::size_t inode_;
};

namespace {

class SimulatedLock final : public FileLock {
 public:
  SimulatedLock(std::set<std::string>& locked, std::string path) : locked_(locked), path_(std::move(path)) {
    locked_.insert(path_);
  }
  SimulatedLock(const SimulatedLock&) = delete;
  SimulatedLock& operator=(const SimulatedLock&) = delete;
  SimulatedLock(SimulatedLock&&) = delete;
  SimulatedLock& operator=(SimulatedLock&&) = delete;
  ~SimulatedLock() override { locked_.erase(path_); }

 private:
  std::set<std::string>& locked_;
  std::string path_;
};

}  // namespace

SimulatedDisk::SimulatedDisk() {
  start_.directories = {"/"};
  now_ = start_;
}

void SimulatedDisk::apply_name(const DiskOperation& operation, Image& image) {
  switch (operation.kind) {
    case Kind::kLink:
      image.names[operation.path] = operation.inode;
      break;
    case Kind::kRename:
      image.names.erase(operation.path);
      image.names[operation.to] = operation.inode;
      break;
    case Kind::kRemove:
      image.names.erase(operation.path);
      break;
    case Kind::kMakeDirectory:
      image.directories.insert(operation.path);
      break;
    default:
      break;
  }
}

base::Result<std::unique_ptr<File>> SimulatedDisk::open(const fs::path& path, Access access) {
  const auto found = now_.names.find(path.string());
  if (access != Access::kCreate && found == now_.names.end()) return not_found(path);
  if (access == Access::kCreate && now_.directories.count(path.parent_path().string()) == 0) {
    return not_found(path);
  }
  std::size_t inode = 0;
  if (found != now_.names.end()) {
    inode = found->second;
    if (access == Access::kCreate) {
      journal_.push_back({.kind = Kind::kTruncate, .inode = inode});
      now_.inodes[inode].clear();
    }
  } else {
    inode = now_.inodes.size();
    now_.inodes.emplace_back();
    journal_.push_back({.kind = Kind::kLink, .path = path.string(), .inode = inode});
    apply_name(journal_.back(), now_);
  }
  std::unique_ptr<File> file = std::make_unique<SimulatedFile>(*this, inode);
  return file;
}

base::Outcome SimulatedDisk::rename(const fs::path& from, const fs::path& to) {
  const auto found = now_.names.find(from.string());
  if (found == now_.names.end()) return not_found(from);
  journal_.push_back(
      {.kind = Kind::kRename, .path = from.string(), .to = to.string(), .inode = found->second});
  apply_name(journal_.back(), now_);
  return base::Done{};
}

base::Outcome SimulatedDisk::remove(const fs::path& path) {
  if (now_.names.count(path.string()) == 0) return not_found(path);
  journal_.push_back({.kind = Kind::kRemove, .path = path.string()});
  apply_name(journal_.back(), now_);
  return base::Done{};
}

base::Outcome SimulatedDisk::make_directory(const fs::path& path) {
  if (now_.directories.count(path.string()) != 0) return base::Done{};
  if (now_.directories.count(path.parent_path().string()) == 0) return not_found(path);
  journal_.push_back({.kind = Kind::kMakeDirectory, .path = path.string()});
  apply_name(journal_.back(), now_);
  return base::Done{};
}

base::Outcome SimulatedDisk::sync_directory(const fs::path& path) {
  if (now_.directories.count(path.string()) == 0) return not_found(path);
  journal_.push_back({.kind = Kind::kSyncDirectory, .path = path.string()});
  return base::Done{};
}

base::Result<std::vector<std::string>> SimulatedDisk::list(const fs::path& directory) {
  if (now_.directories.count(directory.string()) == 0) return not_found(directory);
  std::vector<std::string> names;
  for (const auto& [path, inode] : now_.names) {
    if (fs::path(path).parent_path() == directory) names.push_back(fs::path(path).filename().string());
  }
  return names;
}

base::Result<bool> SimulatedDisk::is_directory(const fs::path& path) {
  if (now_.directories.count(path.string()) != 0) return true;
  if (now_.names.count(path.string()) != 0) return false;
  return not_found(path);
}

base::Result<std::unique_ptr<FileLock>> SimulatedDisk::lock(const fs::path& path) {
  if (locked_.count(path.string()) != 0)
    return base::Error{base::ErrorCode::kBusy, path.string() + " is held"};
  if (now_.names.count(path.string()) == 0) {
    const auto made = open(path, Access::kCreate);
    if (!made) return made.error();
  }
  std::unique_ptr<FileLock> lock = std::make_unique<SimulatedLock>(locked_, path.string());
  return lock;
}

Bytes& SimulatedDisk::content(const std::string& path) { return now_.inodes[now_.names.at(path)]; }

void SimulatedDisk::put(const std::string& path, Bytes bytes) {
  now_.directories.insert(fs::path(path).parent_path().string());
  now_.names[path] = now_.inodes.size();
  now_.inodes.push_back(std::move(bytes));
}

void SimulatedDisk::erase(const std::string& path) { now_.names.erase(path); }

std::vector<std::string> SimulatedDisk::paths() const {
  std::vector<std::string> all;
  for (const auto& [path, inode] : now_.names) all.push_back(path);
  return all;
}

std::unique_ptr<SimulatedDisk> SimulatedDisk::copy() const {
  auto disk = std::make_unique<SimulatedDisk>();
  disk->start_ = now_;
  disk->now_ = now_;
  return disk;
}

std::unique_ptr<SimulatedDisk> SimulatedDisk::after_crash(std::size_t operations, Loss loss,
                                                          std::uint64_t seed) const {
  Lottery lottery(loss, seed);
  Image image = start_;
  image.inodes.resize(std::max(image.inodes.size(), now_.inodes.size()));
  std::vector<const DiskOperation*> names;
  std::map<std::size_t, std::vector<const DiskOperation*>> writes;
  for (std::size_t i = 0; i < operations; ++i) {
    const DiskOperation& operation = journal_[i];
    if (operation.kind == Kind::kWrite || operation.kind == Kind::kTruncate) {
      writes[operation.inode].push_back(&operation);
    } else if (operation.kind == Kind::kSync) {
      for (const DiskOperation* write : writes[operation.inode]) {
        Bytes& bytes = image.inodes[write->inode];
        if (write->kind == Kind::kTruncate)
          bytes.resize(write->offset);
        else
          write_into(bytes, write->offset, write->bytes);
      }
      writes[operation.inode].clear();
    } else if (operation.kind == Kind::kSyncDirectory) {
      const auto here = [&](const DiskOperation* name) {
        return fs::path(name->path).parent_path() == operation.path;
      };
      for (const DiskOperation* name : names) {
        if (here(name)) apply_name(*name, image);
      }
      names.erase(std::remove_if(names.begin(), names.end(), here), names.end());
    } else {
      names.push_back(&operation);
    }
  }
  for (const DiskOperation* name : names) {
    if (lottery.keeps()) apply_name(*name, image);
  }
  for (const auto& [inode, pending] : writes) {
    for (const DiskOperation* write : pending) {
      if (write->kind == Kind::kWrite)
        write_some(image.inodes[inode], *write, lottery);
      else if (lottery.keeps())
        image.inodes[inode].resize(write->offset);
    }
  }
  // A file whose directory did not survive is gone with it.
  std::erase_if(image.names, [&image](const auto& name) {
    return image.directories.count(fs::path(name.first).parent_path().string()) == 0;
  });
  auto disk = std::make_unique<SimulatedDisk>();
  disk->start_ = image;
  disk->now_ = std::move(image);
  return disk;
}

}  // namespace crestgate::protocol
