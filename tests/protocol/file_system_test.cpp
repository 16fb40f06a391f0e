// SPDX-License-Identifier: Apache-2.0
// The contract of FileSystem, kept by the real one and by the simulated disk; and what only the real one has.

#include <csignal>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include "protocol/example_records.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

using base::ErrorCode;
namespace fs = std::filesystem;

class RealFiles {
 public:
  FileSystem& files() { return *files_; }
  fs::path root() { return folder_.path(); }

 private:
  TemporaryFolder folder_;
  std::unique_ptr<FileSystem> files_ = posix_file_system();
};

class SimulatedFiles {
 public:
  FileSystem& files() { return disk_; }
  static fs::path root() { return "/"; }

 private:
  SimulatedDisk disk_;
};

template <class Implementation>
class FileSystemContract : public testing::Test {
 protected:
  FileSystem& files() { return implementation_.files(); }
  fs::path at(const std::string& name) { return implementation_.root() / name; }

 private:
  Implementation implementation_;
};

using Implementations = testing::Types<RealFiles, SimulatedFiles>;
TYPED_TEST_SUITE(FileSystemContract, Implementations);

Bytes bytes_of(std::string_view text) {
  const auto bytes = std::as_bytes(std::span(text));
  return {bytes.begin(), bytes.end()};
}

TYPED_TEST(FileSystemContract, AppendsReadsAndTruncates) {
  auto file = this->files().open(this->at("a"), Access::kCreate);
  ASSERT_TRUE(file.has_value()) << file.error().detail;
  EXPECT_EQ(*(*file)->append(bytes_of("hello ")), 6U);
  EXPECT_EQ(*(*file)->append(bytes_of("world")), 5U);
  EXPECT_EQ(*(*file)->size(), 11U);
  Bytes into(100);
  EXPECT_EQ(*(*file)->read_at(6, into), 5U);
  EXPECT_EQ(Bytes(into.begin(), into.begin() + 5), bytes_of("world"));
  EXPECT_EQ(*(*file)->read_at(11, into), 0U);
  EXPECT_EQ(*(*file)->read_at(500, into), 0U);
  EXPECT_TRUE((*file)->truncate(2).has_value());
  EXPECT_EQ(*(*file)->append(bytes_of("y")), 1U);
  EXPECT_TRUE((*file)->sync_data().has_value());
  auto again = this->files().open(this->at("a"), Access::kRead);
  EXPECT_EQ(*(*again)->read_at(0, into), 3U);
  EXPECT_EQ(Bytes(into.begin(), into.begin() + 3), bytes_of("hey"));
}

TYPED_TEST(FileSystemContract, CreateReplacesAndAppendDoesNot) {
  ASSERT_TRUE((*this->files().open(this->at("a"), Access::kCreate))->append(bytes_of("old")).has_value());
  ASSERT_TRUE((*this->files().open(this->at("a"), Access::kAppend))->append(bytes_of("er")).has_value());
  EXPECT_EQ(*(*this->files().open(this->at("a"), Access::kRead))->size(), 5U);
  EXPECT_EQ(*(*this->files().open(this->at("a"), Access::kCreate))->size(), 0U);
}

TYPED_TEST(FileSystemContract, SaysWhatIsNotThere) {
  EXPECT_EQ(this->files().open(this->at("none"), Access::kRead).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().open(this->at("none"), Access::kAppend).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().open(this->at("none/a"), Access::kCreate).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().rename(this->at("none"), this->at("b")).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().remove(this->at("none")).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().list(this->at("none")).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().is_directory(this->at("none")).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().sync_directory(this->at("none")).error().code, ErrorCode::kNotFound);
  EXPECT_EQ(this->files().make_directory(this->at("none/deeper")).error().code, ErrorCode::kNotFound);
}

TYPED_TEST(FileSystemContract, NamesAreMadeMovedRemovedAndListedInOrder) {
  ASSERT_TRUE(this->files().make_directory(this->at("d")).has_value());
  ASSERT_TRUE(this->files().make_directory(this->at("d")).has_value()) << "fine if it is there";
  EXPECT_TRUE(*this->files().is_directory(this->at("d")));
  for (const char* name : {"d/c", "d/a", "d/b"}) {
    ASSERT_TRUE(this->files().open(this->at(name), Access::kCreate).has_value());
  }
  EXPECT_FALSE(*this->files().is_directory(this->at("d/a")));
  ASSERT_TRUE(this->files().rename(this->at("d/a"), this->at("d/z")).has_value());
  ASSERT_TRUE(this->files().remove(this->at("d/b")).has_value());
  ASSERT_TRUE(this->files().sync_directory(this->at("d")).has_value());
  EXPECT_EQ(*this->files().list(this->at("d")), (std::vector<std::string>{"c", "z"}));
}

TYPED_TEST(FileSystemContract, LockIsExclusiveAndEndsWithItsHolder) {
  auto first = this->files().lock(this->at("lock"));
  ASSERT_TRUE(first.has_value());
  EXPECT_EQ(this->files().lock(this->at("lock")).error().code, ErrorCode::kBusy);
  first->reset();
  EXPECT_TRUE(this->files().lock(this->at("lock")).has_value());
}

// The size limit of a process stands for a full disk: the write comes back short, then with EFBIG, and by
// default the process gets SIGXFSZ. The limit is taken back before anything else writes.
TEST(PosixFiles, AFullDiskIsAnErrorNotADeath) {
  const TemporaryFolder folder;
  const fs::path ledger = folder.path() / "ledger";
  const auto files = posix_file_system();
  auto writer = open_writer(*files, 1U << 26U, ledger);
  ASSERT_TRUE(writer->append(note("one")).has_value());
  rlimit before{};
  ASSERT_EQ(::getrlimit(RLIMIT_FSIZE, &before), 0);
  rlimit small = before;
  small.rlim_cur = 10'000;
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &small), 0);
  const auto too_long = writer->append(long_traverse(16'384));
  const auto still_fits = writer->append(note("two"));
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &before), 0);
  ASSERT_FALSE(too_long.has_value());
  EXPECT_EQ(too_long.error().code, ErrorCode::kNoSpace) << too_long.error().detail;
  EXPECT_FALSE(writer->failure().has_value());
  EXPECT_TRUE(still_fits.has_value());
  EXPECT_TRUE(writer->append(long_traverse(16'384)).has_value()) << "there is space again";
  const Contents contents = read_all(*files, ledger);
  EXPECT_EQ(contents.entries.size(), 3U);
  EXPECT_TRUE(contents.damage.empty());
  EXPECT_EQ(contents.unfinished_bytes, 0U);
}

TEST(PosixFiles, ASecondWriterIsTurnedAway) {
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  const auto first = open_writer(*files, 1U << 20U, folder.path() / "ledger");
  const auto second = LedgerWriter::open(*files, folder.path() / "ledger", {});
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, ErrorCode::kBusy);
}

TEST(PosixFiles, WritingToDevFullIsNoSpace) {
  const auto files = posix_file_system();
  auto file = files->open("/dev/full", Access::kAppend);
  ASSERT_TRUE(file.has_value()) << file.error().detail;
  EXPECT_EQ((*file)->append(bytes_of("x")).error().code, ErrorCode::kNoSpace);
}

TEST(PosixFiles, DescriptorsAreNotInherited) {
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  const auto writer = open_writer(*files, 1U << 20U, folder.path() / "ledger");
  int ours = 0;
  for (const auto& entry : fs::directory_iterator("/proc/self/fd")) {
    std::error_code error;
    const fs::path target = fs::read_symlink(entry.path(), error);
    if (error || target.string().rfind(folder.path().string(), 0) != 0) continue;
    ++ours;
    const int number = std::stoi(entry.path().filename().string());
    EXPECT_NE(::fcntl(number, F_GETFD) & FD_CLOEXEC, 0) << target;
  }
  EXPECT_EQ(ours, 2) << "the segment and the lock";
}

}  // namespace
}  // namespace crestgate::protocol
