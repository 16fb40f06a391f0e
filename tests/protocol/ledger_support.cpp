// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger_support.h"

#include <cstdlib>
#include <fstream>
#include <iostream>
#include <sstream>

#include "protocol/convert/digest.h"

namespace crestgate::protocol {

Contents read_all(FileSystem& files, const std::filesystem::path& path) {
  Contents contents;
  auto reader = LedgerReader::open(files, path);
  if (!reader) {
    ADD_FAILURE() << reader.error().detail;
    return contents;
  }
  for (;;) {
    auto entry = reader->next();
    if (!entry) {
      ADD_FAILURE() << entry.error().detail;
      return contents;
    }
    if (!*entry) break;
    contents.entries.push_back(**std::move(entry));
  }
  contents.damage = reader->damage();
  contents.unfinished_bytes = reader->unfinished_bytes();
  contents.skipped_unknown = reader->skipped_unknown();
  return contents;
}

std::string listing(const Contents& contents) {
  std::ostringstream text;
  for (const Entry& entry : contents.entries) {
    text << "record " << entry.number << " " << name_of(entry.kind) << " " << entry.body.size()
         << " bytes sha256 " << to_hex(entry.digest) << " segment " << entry.place.segment << " at "
         << entry.place.offset << "\n";
  }
  for (const DamagedSpan& span : contents.damage) {
    text << "damaged segment " << span.segment << " at " << span.offset << " " << span.length
         << " bytes lost " << span.first_lost << " to " << span.last_lost << "\n";
  }
  text << "unfinished " << contents.unfinished_bytes << " bytes\n";
  text << "unknown " << contents.skipped_unknown << " entries\n";
  return text.str();
}

std::unique_ptr<LedgerWriter> open_writer(FileSystem& files, std::uint64_t segment_bytes,
                                          const std::filesystem::path& path) {
  LedgerOptions options;
  options.segment_bytes = segment_bytes;
  auto writer = LedgerWriter::open(files, path, options);
  if (!writer) {
    ADD_FAILURE() << writer.error().detail;
    return nullptr;
  }
  return *std::move(writer);
}

void expect_acknowledged(const Contents& contents, const Acknowledged& acknowledged) {
  Acknowledged found;
  std::uint64_t last = 0;
  for (const Entry& entry : contents.entries) {
    EXPECT_GT(entry.number, last) << "numbers rise";
    last = entry.number;
    EXPECT_EQ(digest_of(entry.body), entry.digest);
    const auto record = record_of(entry);
    EXPECT_TRUE(record.has_value()) << (record ? "" : record.error().detail);
    found[entry.number] = entry.digest;
  }
  for (const auto& [number, digest] : acknowledged) {
    const auto it = found.find(number);
    ASSERT_NE(it, found.end()) << "acknowledged record " << number << " is missing";
    EXPECT_EQ(it->second, digest) << "acknowledged record " << number << " has changed";
  }
}

std::uint64_t test_seed() {
  const char* given = std::getenv("CRESTGATE_TEST_SEED");
  const std::uint64_t seed = given != nullptr ? std::strtoull(given, nullptr, 10) : 20251125U;
  std::cout << "seed " << seed << " (CRESTGATE_TEST_SEED)\n";
  return seed;
}

TemporaryFolder::TemporaryFolder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "crestgate-XXXXXX").string();
  if (mkdtemp(pattern.data()) == nullptr) ADD_FAILURE() << "no temporary folder";
  path_ = pattern;
}

TemporaryFolder::~TemporaryFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string read_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  EXPECT_TRUE(file.good()) << path;
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

}  // namespace crestgate::protocol
