// SPDX-License-Identifier: Apache-2.0
// Whatever a family's name leads to, it is a family or one clear line.
#include <chrono>
#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>
#include <sys/stat.h>

#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell {
namespace {

const std::filesystem::path kExamples =
    std::filesystem::path(CRESTGATE_SOURCE_DIR) / "packaging" / "examples" / "plans";

struct FamilyFolder : ::testing::Test {
  std::filesystem::path folder;
  void SetUp() override {
    folder = std::filesystem::path(::testing::TempDir()) /
             ("family_" + std::string(::testing::UnitTest::GetInstance()->current_test_info()->name()));
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder / "below");
  }
  void TearDown() override { std::filesystem::remove_all(folder); }
  void write(const std::string& name, const std::string& text) const { std::ofstream(folder / name) << text; }
  [[nodiscard]] static std::string plan(const std::string& family) {
    return "format = 1\nname = \"P\"\nfamily = \"" + family +
           "\"\nstage = {number = 2, name = \"finished\"}\n" + "part = \"shaft\"\n";
  }
  [[nodiscard]] base::Result<PlanDescription> read(const std::string& family) const {
    write("plan.toml", plan(family));
    return read_plan(plan(family), (folder / "plan.toml").string());
  }
  [[nodiscard]] std::string complaint(const std::string& family) const {
    const auto found = read(family);
    EXPECT_FALSE(found.has_value());
    return found ? "" : found.error().detail;
  }
};

std::string shared_part() {
  std::string text = *read_text_file((kExamples / "eccentric-finished.toml").string());
  return "format = 1\n" + text.substr(text.find("part_id"));
}

TEST_F(FamilyFolder, ItsPathCountsFromThePlansFolder) {
  write("below/family.toml", shared_part());
  const auto plan = read("below/family.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->part_plan.zones.size(), 2U);
  EXPECT_EQ(plan->made_of[1], "family.toml");
  EXPECT_TRUE(read((folder / "below" / "family.toml").string()).has_value());
}

TEST_F(FamilyFolder, AnythingButAFileIsOneLineAtThePlansKey) {
  const std::string at = (folder / "plan.toml").string() + " line 3: family: ";
  EXPECT_EQ(complaint("none.toml"), at + (folder / "none.toml").string() + ": no such file");
  EXPECT_EQ(complaint("below"), at + (folder / "below").string() + ": expected a file, found something else");
  std::filesystem::create_symlink("loop.toml", folder / "loop.toml");
  EXPECT_EQ(complaint("loop.toml"),
            at + (folder / "loop.toml").string() + ": cannot be opened: Too many levels of symbolic links");
  ASSERT_EQ(mkfifo((folder / "pipe").c_str(), 0600), 0);
  EXPECT_EQ(complaint("pipe"), at + (folder / "pipe").string() + ": expected a file, found something else");
  EXPECT_EQ(complaint("/dev/zero"), at + "/dev/zero: expected a file, found something else");
  EXPECT_EQ(complaint("a\\u0000b").rfind(at, 0), 0U);
  EXPECT_EQ(complaint(""), at + "expected a text, found an empty one");
  EXPECT_EQ(
      complaint(std::string(5000, 'x')).find("cannot be opened: File name too long") != std::string::npos,
      true);
}

TEST_F(FamilyFolder, AHundredMegabytesAreNotEvenRead) {
  write("family.toml", "format = 1\n");
  std::filesystem::resize_file(folder / "family.toml", 100'000'000);
  EXPECT_EQ(complaint("family.toml"), (folder / "plan.toml").string() +
                                          " line 3: family: " + (folder / "family.toml").string() +
                                          ": expected at most 1048576 bytes, found 100000000");
}

TEST_F(FamilyFolder, AFileWhoseSizeSaysNothingIsReadOnlySoFar) {
  EXPECT_TRUE(read_text_file("/proc/self/status").has_value());
  const auto found = read_text_file("/proc/self/status", 10);
  ASSERT_FALSE(found.has_value());
  EXPECT_EQ(found.error().detail, "/proc/self/status: expected at most 10 bytes, found more");
}

TEST_F(FamilyFolder, APlanIsNotItsOwnFamily) {
  EXPECT_EQ(complaint("plan.toml"),
            (folder / "plan.toml").string() + " line 3: family: a plan is not its own family");
  std::filesystem::create_hard_link(folder / "plan.toml", folder / "twin.toml");
  EXPECT_EQ(complaint("twin.toml"),
            (folder / "plan.toml").string() + " line 3: family: a plan is not its own family");
}

TEST_F(FamilyFolder, OneLevelAndNoCircle) {
  write("family.toml", "format = 1\nfamily = \"plan.toml\"\n");
  EXPECT_EQ(complaint("family.toml"),
            (folder / "family.toml").string() + " line 2: family: a family has no family of its own");
}

TEST_F(FamilyFolder, AWholePlanCanStandAsAPlanOfItsOwn) {
  write("family.toml", shared_part());
  const auto plan = read("family.toml");
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  std::filesystem::remove(folder / "family.toml");
  const auto again = read_plan(plan->document.content, (folder / "plan.toml").string());
  ASSERT_TRUE(again.has_value()) << again.error().detail;
  EXPECT_EQ(*again, *plan);
}

// Entries are compared with entries: as many as a file can hold would take minutes.
TEST_F(FamilyFolder, MoreEntriesThanADescriptionHasAreRefusedAtOnce) {
  std::string keys = "format = 1\n";
  for (int i = 0; i < 100'000; ++i) keys += "a" + std::to_string(i) + "=1\n";
  write("family.toml", keys);
  EXPECT_NE(complaint("family.toml").find("expected at most 1000 entries in a table or a list, found 100001"),
            std::string::npos);
  std::string zones = "format = 1\n";
  for (int i = 0; i < 30'000; ++i) zones += "[[zone]]\nname = \"" + std::to_string(i) + "\"\n";
  write("family.toml", zones);
  EXPECT_NE(complaint("family.toml").find("expected at most 1000 entries in a table or a list, found 30000"),
            std::string::npos);
}

// Found by hand: ten thousands of parts in a key went through the parser's stack.
TEST_F(FamilyFolder, AKeyOfTenThousandsOfPartsIsRefused) {
  std::string key = "a";
  for (int i = 0; i < 50'000; ++i) key += ".a";
  for (const std::string& text : {key + " = 1\n", "[" + key + "]\n", "b = {" + key + " = 1}\n"}) {
    write("family.toml", "format = 1\n" + text);
    EXPECT_EQ(complaint("family.toml"),
              (folder / "family.toml").string() + " line 2: expected a key of at most 8 parts");
  }
}

}  // namespace
}  // namespace crestgate::cell
