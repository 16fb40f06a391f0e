// SPDX-License-Identifier: Apache-2.0
// A second reader in another language, written from FORMAT.md, sees the same ledger: whole, torn and damaged.

#include <cstdio>
#include <fstream>
#include <numeric>
#include <random>
#include <sstream>

#include <gtest/gtest.h>

#include "protocol/convert/problems.h"
#include "protocol/example_records.h"
#include "protocol/ledger_support.h"
#include "protocol/simulated_disk.h"

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

constexpr const char* kPython = "/usr/bin/python3";

std::string output_of(const std::string& command) {
  FILE* pipe = ::popen(command.c_str(), "r");
  if (pipe == nullptr) {
    ADD_FAILURE() << command;
    return {};
  }
  std::string text;
  char buffer[4096];
  for (std::size_t got = 0; (got = std::fread(buffer, 1, sizeof buffer, pipe)) > 0;) text.append(buffer, got);
  EXPECT_EQ(::pclose(pipe), 0) << command;
  return text;
}

std::string read_ledger(const std::string& arguments) {
  return output_of(std::string(kPython) + " " CRESTGATE_SOURCE_DIR "/tests/protocol/read_ledger.py " +
                   arguments);
}

void write_out(SimulatedDisk& disk, const fs::path& directory) {
  fs::create_directories(directory);
  for (const std::string& path : disk.paths()) {
    const Bytes& bytes = disk.content(path);
    std::ofstream file(directory / fs::path(path).filename(), std::ios::binary);
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  }
}

// Several small segments with records of every kind.
void fill(SimulatedDisk& disk) {
  auto writer = open_writer(disk, 1200);
  for (int i = 0; i < 6; ++i) {
    ASSERT_TRUE(writer->append(example_document()).has_value());
    ASSERT_TRUE(writer->append(long_traverse(static_cast<std::size_t>(10 * i))).has_value());
    ASSERT_TRUE(writer->append(example_judgement()).has_value());
    ASSERT_TRUE(writer->append(note("number " + std::to_string(i))).has_value());
  }
}

void damage(SimulatedDisk& disk, std::mt19937& random) {
  std::vector<std::string> paths;
  for (const std::string& path : disk.paths()) {
    if (path.ends_with(".ledger")) paths.push_back(path);
  }
  const std::string& path = paths[random() % paths.size()];
  Bytes& bytes = disk.content(path);
  if (bytes.size() < 200) return;
  const std::size_t at = random() % bytes.size();
  const auto from = bytes.begin() + static_cast<std::ptrdiff_t>(at / 8 * 8);
  switch (random() % 6) {
    case 0:
      bytes[at] ^= std::byte{1} << static_cast<int>(random() % 8);
      break;
    case 1:
      bytes.resize(std::max<std::size_t>(at, 64));
      break;
    case 2:
      std::fill(from, bytes.begin() + static_cast<std::ptrdiff_t>(std::min(at + 300, bytes.size())),
                std::byte{0});
      break;
    case 3:
      bytes.insert(from, 64, std::byte{0xE5});
      break;
    case 4:
      bytes.erase(from,
                  bytes.begin() + static_cast<std::ptrdiff_t>(std::min(at / 8 * 8 + 160, bytes.size())));
      break;
    default:
      if (paths.size() > 2 && path != paths.back()) disk.erase(path);
      break;
  }
  if (disk.paths().size() > 1 && disk.content(paths.back()).size() < 64)
    disk.content(paths.back()).resize(64);
}

TEST(PythonReader, SeesTheSameLedgerWhetherWholeOrDamaged) {
  const std::uint64_t seed = test_seed();
  constexpr int kLedgers = 60;
  const TemporaryFolder folder;
  SimulatedDisk whole;
  fill(whole);
  std::string arguments;
  std::vector<std::string> ours;
  for (int i = 0; i < kLedgers; ++i) {
    std::mt19937 random(static_cast<std::uint32_t>(seed) + static_cast<std::uint32_t>(i));
    const auto disk = whole.copy();
    for (int k = 0; k < i % 4; ++k) damage(*disk, random);
    const fs::path directory = folder.path() / std::to_string(i);
    write_out(*disk, directory);
    arguments += directory.string() + " ";
    ours.push_back(listing(read_all(*disk)));
  }
  std::istringstream theirs(read_ledger(arguments));
  int damaged = 0;
  for (int i = 0; i < kLedgers; ++i) {
    std::string text;
    for (std::string line; std::getline(theirs, line);) {
      text += line + "\n";
      if (line.rfind("unknown", 0) == 0) break;
    }
    if (text.find("damaged") != std::string::npos) ++damaged;
    ASSERT_EQ(ours[static_cast<std::size_t>(i)], text) << "ledger " << i;
  }
  EXPECT_GT(damaged, kLedgers / 3);
}

TEST(PythonReader, ReadsTheFieldsWithGeneratedCode) {
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  const fs::path ledger = folder.path() / "ledger";
  auto writer = open_writer(*files, 1U << 20U, ledger);
  const base::Traverse traverse = long_traverse(16'384);
  ASSERT_TRUE(writer->append(traverse).has_value());
  ASSERT_TRUE(writer->append(example_judgement()).has_value());
  ASSERT_TRUE(writer->append(example_event()).has_value());
  ASSERT_TRUE(writer->append(example_document()).has_value());
  base::Traverse nobody;
  ASSERT_TRUE(writer->append(nobody).has_value());
  const std::string generated = (folder.path() / "generated").string();
  fs::create_directories(generated);
  const std::string schema = CRESTGATE_SOURCE_DIR "/protocol/schema";
  output_of(CRESTGATE_PROTOC " -I " + schema + " --python_out=" + generated + " " + schema +
            "/crestgate/record/v1/*.proto");
  const std::string text = read_ledger("--records " + generated + " " + ledger.string());
  const auto& counts = traverse.heights.counts;
  const std::int64_t sum = std::accumulate(counts.begin(), counts.end(), std::int64_t{0});
  std::ostringstream expected;
  expected << "1 SN-000417 crest A 1766000000123456789 0.0005 0.001 16384 " << sum << " "
           << to_hex(traverse.plan_digest) << "\n"
           << "2 3 101 Ra of crest A is 0.412 um, the limit is 0.4 um 0.412 17\n"
           << "3 fault 503 1766000000000000000\n"
           << "4 1 journal finished 24\n"
           << "5 not known  0 0.0 0.0 0 0 " << std::string(64, '0') << "\n";
  EXPECT_EQ(text.substr(text.find("unknown 0 entries\n") + 18), expected.str());
}

}  // namespace
}  // namespace crestgate::protocol
