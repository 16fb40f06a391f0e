// SPDX-License-Identifier: Apache-2.0
#pragma once
// Forwards to another file system and lets the k-th operation fail, once.

#include <algorithm>
#include <memory>
#include <optional>
#include <utility>

#include "protocol/ledger/file_system.h"

namespace crestgate::protocol {

enum class Fault {
  kIo,          // the operation fails; a write leaves half of its bytes
  kNoSpace,     // the same, for want of space
  kShortWrite,  // a write takes half of its bytes and says so; the next write finds no space
};

class FaultyFiles final : public FileSystem {
 public:
  FaultyFiles(FileSystem& inner, std::uint64_t fail_at, Fault fault)
      : inner_(inner), fail_at_(fail_at), fault_(fault) {}

  [[nodiscard]] bool fired() const { return fired_; }
  [[nodiscard]] bool failed_a_sync() const { return failed_a_sync_; }
  [[nodiscard]] std::uint64_t operations() const { return count_; }

  base::Result<std::unique_ptr<File>> open(const std::filesystem::path& path, Access access) override {
    if (fires()) return error();
    auto file = inner_.open(path, access);
    if (!file) return file;
    std::unique_ptr<File> faulty = std::make_unique<FaultyFile>(*this, *std::move(file));
    return faulty;
  }
  base::Outcome rename(const std::filesystem::path& from, const std::filesystem::path& to) override {
    if (fires()) return error();
    return inner_.rename(from, to);
  }
  base::Outcome remove(const std::filesystem::path& path) override {
    full_ = false;  // gives space back, as truncate does
    if (fires()) return error();
    return inner_.remove(path);
  }
  base::Outcome make_directory(const std::filesystem::path& path) override {
    if (fires()) return error();
    return inner_.make_directory(path);
  }
  base::Outcome sync_directory(const std::filesystem::path& path) override {
    if (fires()) return error();
    return inner_.sync_directory(path);
  }
  base::Result<std::vector<std::string>> list(const std::filesystem::path& directory) override {
    if (fires()) return error();
    return inner_.list(directory);
  }
  base::Result<bool> is_directory(const std::filesystem::path& path) override {
    if (fires()) return error();
    return inner_.is_directory(path);
  }
  base::Result<std::unique_ptr<FileLock>> lock(const std::filesystem::path& path) override {
    if (fires()) return error();
    return inner_.lock(path);
  }

 private:
  class FaultyFile final : public File {
   public:
    FaultyFile(FaultyFiles& files, std::unique_ptr<File> inner) : files_(files), inner_(std::move(inner)) {}

    base::Result<std::size_t> append(std::span<const std::byte> bytes) override {
      if (std::exchange(files_.full_, false)) return files_.error();
      if (!files_.fires()) return inner_->append(bytes);
      const auto half = inner_->append(bytes.first(bytes.size() / 2));
      if (!half) return half;
      if (files_.fault_ != Fault::kShortWrite) return files_.error();
      files_.full_ = true;
      return half;
    }
    base::Result<std::size_t> read_at(std::uint64_t offset, std::span<std::byte> into) override {
      if (files_.fires()) return files_.error();
      return inner_->read_at(offset, into);
    }
    base::Result<std::uint64_t> size() override {
      if (files_.fires()) return files_.error();
      return inner_->size();
    }
    base::Outcome truncate(std::uint64_t size) override {
      files_.full_ = false;
      if (files_.fires()) return files_.error();
      return inner_->truncate(size);
    }
    base::Outcome sync_data() override {
      if (!files_.fires()) return inner_->sync_data();
      files_.failed_a_sync_ = true;
      return files_.error();
    }

   private:
    FaultyFiles& files_;
    std::unique_ptr<File> inner_;
  };

  bool fires() {
    ++count_;
    if (count_ != fail_at_) return false;
    fired_ = true;
    return true;
  }
  [[nodiscard]] base::Error error() const {
    if (fault_ == Fault::kIo) return {base::ErrorCode::kIo, "injected: input/output error"};
    return {base::ErrorCode::kNoSpace, "injected: no space left on device"};
  }

  FileSystem& inner_;
  std::uint64_t fail_at_;
  Fault fault_;
  std::uint64_t count_ = 0;
  bool fired_ = false;
  bool failed_a_sync_ = false;
  bool full_ = false;
};

}  // namespace crestgate::protocol
