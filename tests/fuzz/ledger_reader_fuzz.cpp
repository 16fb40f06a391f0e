// SPDX-License-Identifier: Apache-2.0
// Any bytes as one segment of a ledger: the reader ends, counts add up, and what it gives out can be
// described and written again. The CRCs of a mutated input are mostly wrong, so every input is also tried
// with its CRCs put right: else the fuzzer would never get behind them.

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <span>
#include <vector>

#include "protocol/convert/convert.h"
#include "protocol/convert/describe.h"
#include "protocol/ledger/crc32c.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_format.h"
#include "protocol/ledger/ledger_reader.h"

namespace {

using namespace crestgate;            // NOLINT(google-build-using-namespace)
using namespace crestgate::protocol;  // NOLINT(google-build-using-namespace)

using Bytes = std::vector<std::byte>;

void require(bool condition) {
  if (!condition) std::abort();
}

base::Error read_only() { return {base::ErrorCode::kIo, "this file is only read"}; }

class OneFile final : public File {
 public:
  explicit OneFile(const Bytes& bytes) : bytes_(bytes) {}
  base::Result<std::size_t> append(std::span<const std::byte> /*bytes*/) override { return read_only(); }
  base::Result<std::size_t> read_at(std::uint64_t offset, std::span<std::byte> into) override {
    if (offset >= bytes_.size()) return std::size_t{0};
    const std::size_t count = std::min<std::size_t>(into.size(), bytes_.size() - offset);
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(offset), count, into.begin());
    return count;
  }
  base::Result<std::uint64_t> size() override { return std::uint64_t{bytes_.size()}; }
  base::Outcome truncate(std::uint64_t /*size*/) override { return read_only(); }
  base::Outcome sync_data() override { return read_only(); }

 private:
  const Bytes& bytes_;
};

// One segment; as a file by itself, or as the only one of a directory.
class OneSegment final : public FileSystem {
 public:
  OneSegment(const Bytes& bytes, bool in_directory) : bytes_(bytes), in_directory_(in_directory) {}
  base::Result<std::unique_ptr<File>> open(const std::filesystem::path& /*path*/,
                                           Access /*access*/) override {
    std::unique_ptr<File> file = std::make_unique<OneFile>(bytes_);
    return file;
  }
  base::Outcome rename(const std::filesystem::path& /*from*/, const std::filesystem::path& /*to*/) override {
    return read_only();
  }
  base::Outcome remove(const std::filesystem::path& /*path*/) override { return read_only(); }
  base::Outcome make_directory(const std::filesystem::path& /*path*/) override { return read_only(); }
  base::Outcome sync_directory(const std::filesystem::path& /*path*/) override { return read_only(); }
  base::Result<std::vector<std::string>> list(const std::filesystem::path& /*directory*/) override {
    return std::vector<std::string>{"000001.ledger"};
  }
  base::Result<bool> is_directory(const std::filesystem::path& /*path*/) override { return in_directory_; }
  base::Result<std::unique_ptr<FileLock>> lock(const std::filesystem::path& /*path*/) override {
    return read_only();
  }

 private:
  const Bytes& bytes_;
  bool in_directory_;
};

void put_u32(Bytes& bytes, std::size_t at, std::uint32_t value) {
  for (std::size_t i = 0; i < 4; ++i) bytes[at + i] = static_cast<std::byte>((value >> (8 * i)) & 0xFFU);
}

void put_crcs_right(Bytes& bytes) {
  if (bytes.size() < kSegmentHeaderBytes) return;
  put_u32(bytes, 60, crc32c(std::span(bytes).first(60)));
  const EntryOwner owner{raw_ledger_id(bytes), std::to_integer<std::uint32_t>(bytes[12])};
  for (std::size_t at = kSegmentHeaderBytes; at + kEntryHeaderBytes <= bytes.size();) {
    const auto rest = std::span(bytes).subspan(at);
    const auto header = decode_entry_header(rest);
    if (!header || header->body_length > rest.size() - kEntryHeaderBytes) {
      at += kEntryAlignment;
      continue;
    }
    const auto body = rest.subspan(kEntryHeaderBytes, header->body_length);
    put_u32(bytes, at + 20, entry_crc(owner, rest, body));
    at += entry_bytes(header->body_length);
  }
}

void check_entry(const Entry& entry) {
  const auto record = record_of(entry);
  if (!record) {
    require(!record.error().detail.empty());
    return;
  }
  require(!describe(*record).empty());
  const auto body = serialise(*record);
  require(body.has_value());
  const auto again = parse(std::as_bytes(std::span(*body)), entry.kind);
  require(again.has_value());
}

void read(const Bytes& bytes, bool in_directory) {
  OneSegment files(bytes, in_directory);
  auto reader = LedgerReader::open(files, "x.ledger");
  if (!reader) {
    require(!reader.error().detail.empty());
    return;
  }
  std::uint64_t last = 0;
  std::uint64_t covered = 0;
  for (;;) {
    const auto entry = reader->next();
    require(entry.has_value());
    if (!*entry) break;
    require((*entry)->number > last);
    last = (*entry)->number;
    covered += entry_bytes((*entry)->body.size());
    check_entry(**entry);
  }
  require(covered <= bytes.size());
  for (const DamagedSpan& span : reader->damage()) {
    require(span.offset <= bytes.size() && span.length <= bytes.size() - span.offset);
    require(!to_line(span).empty());
  }
  require(reader->unfinished_bytes() <= bytes.size());
  require(!reader->next()->has_value());
  if (last != 0) require(reader->find(last)->number == last);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto input = std::as_bytes(std::span(data, size));
  Bytes bytes(input.begin(), input.end());
  read(bytes, false);
  read(bytes, true);
  put_crcs_right(bytes);
  read(bytes, false);
  read(bytes, true);
  return 0;
}
