// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/recovery.h"

#include <algorithm>
#include <iterator>

#include "protocol/ledger/segment_scanner.h"

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

base::Outcome append_all(File& file, std::span<const std::byte> bytes) {
  while (!bytes.empty()) {
    const auto written = file.append(bytes);
    if (!written) return written.error();
    if (*written == 0) return base::Error{base::ErrorCode::kIo, "a write wrote nothing"};
    bytes = bytes.subspan(*written);
  }
  return base::Done{};
}

base::Outcome copy_tail(File& from, std::uint64_t offset, std::uint64_t length, File& to) {
  std::vector<std::byte> window(std::min<std::uint64_t>(length, std::uint64_t{1} << 20U));
  while (length > 0) {
    const auto piece = std::span(window).first(std::min<std::uint64_t>(length, window.size()));
    const auto got = from.read_at(offset, piece);
    if (!got) return got.error();
    if (*got == 0) return base::Error{base::ErrorCode::kIo, "the tail became shorter while it was saved"};
    const auto written = append_all(to, piece.first(*got));
    if (!written) return written.error();
    offset += *got;
    length -= *got;
  }
  return to.sync_data();
}

// Keeps the bytes from `offset` on in a file of their own; returns its name.
base::Result<std::string> save_tail(FileSystem& files, const fs::path& directory, const std::string& segment,
                                    File& file, std::uint64_t offset, std::uint64_t length) {
  const auto names = files.list(directory);
  if (!names) return names.error();
  const std::string stem = segment + ".cut-" + std::to_string(offset) + "-";
  int turn = 1;
  while (std::find(names->begin(), names->end(), stem + std::to_string(turn)) != names->end()) ++turn;
  std::string name = stem + std::to_string(turn);
  auto copy = files.open(directory / name, Access::kCreate);
  if (!copy) return copy.error();
  auto saved = copy_tail(file, offset, length, **copy);
  if (saved) saved = files.sync_directory(directory);
  if (!saved) {
    // Half a copy helps nobody, and its room may be needed; the tail itself is still in the segment.
    static_cast<void>(files.remove(directory / name));
    return saved.error();
  }
  return name;
}

struct Scan {
  ScanItem last;
  std::uint64_t size = 0;
};

base::Result<Scan> read_whole(File& file, SegmentScanner& scanner, RecoveredSegment& segment) {
  const auto size = file.size();
  if (!size) return size.error();
  for (;;) {
    auto item = scanner.next(file, *size);
    if (!item) return item.error();
    std::move(item->damage.begin(), item->damage.end(), std::back_inserter(segment.damaged));
    if (item->what != ScanItem::What::kEntry) return Scan{*std::move(item), *size};
    ++segment.entries;
  }
}

base::Outcome cut_tail(FileSystem& files, const fs::path& directory, const SegmentInfo& newest,
                       const Scan& scan, RecoveredSegment& segment) {
  auto saved = save_tail(files, directory, newest.path.filename().string(), *segment.file, scan.last.offset,
                         scan.last.tail_bytes);
  if (!saved) return saved.error();
  segment.torn_bytes = scan.last.tail_bytes;
  segment.torn_saved_as = *std::move(saved);
  return segment.file->truncate(scan.last.offset);
}

}  // namespace

base::Result<RecoveredSegment> recover(FileSystem& files, const fs::path& directory,
                                       const SegmentInfo& newest) {
  auto file = files.open(newest.path, Access::kAppend);
  if (!file) return file.error();
  RecoveredSegment segment{.file = *std::move(file), .owner = {newest.ledger_id, newest.segment}};
  ScanStart start{.owner = segment.owner};
  if (newest.header) {
    start.first_number = newest.header->first_number;
    start.expected_number = start.first_number;
  }
  SegmentScanner scanner(start);
  const auto scan = read_whole(*segment.file, scanner, segment);
  if (!scan) return scan.error();
  if (!scanner.expected_number()) {
    return base::Error{base::ErrorCode::kCorruptFile,
                       newest.path.string() + " " + newest.problem + ", and no record in it is readable"};
  }
  segment.next_number = *scanner.expected_number();
  segment.first_number = start.first_number.value_or(segment.next_number);
  segment.end = scan->last.offset;
  const bool sealed = scan->last.what == ScanItem::What::kEnd;
  if (sealed || !newest.header) {
    const std::uint64_t end = scan->last.offset + (sealed ? entry_bytes(kEndBodyBytes) : 0);
    if (scan->size > end) {
      segment.damaged.push_back(
          {.segment = newest.segment,
           .offset = end,
           .length = scan->size - end,
           .what = sealed ? "bytes after END" : "nothing whole behind a damaged header"});
    }
  } else if (scan->last.tail_bytes > 0) {
    const auto cut = cut_tail(files, directory, newest, *scan, segment);
    if (!cut) return cut.error();
  }
  // Whole entries that a crashed writer had not synced yet count from now on, so they must be on the disk.
  const auto synced = segment.file->sync_data();
  if (!synced) return synced.error();
  if (sealed || !newest.header) segment.file.reset();
  return segment;
}

}  // namespace crestgate::protocol
