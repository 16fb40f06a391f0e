// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/ledger_directory.h"

#include <algorithm>

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

// All segments with a good header must agree; the oldest of them names the ledger.
std::optional<LedgerId> id_of_ledger(const std::vector<SegmentInfo>& segments) {
  for (const SegmentInfo& info : segments) {
    if (info.header) return info.header->ledger_id;
  }
  return std::nullopt;
}

void compare(SegmentInfo& info, const std::optional<LedgerId>& ledger_id) {
  if (!info.header) {
    if (ledger_id) info.ledger_id = *ledger_id;
    info.id_is_certain = ledger_id.has_value();
  } else if (info.header->ledger_id != *ledger_id) {
    info.foreign = true;
    info.problem = "belongs to another ledger";
  } else if (info.header->segment != info.segment) {
    info.foreign = true;
    info.problem = "its header says segment " + std::to_string(info.header->segment);
  }
}

}  // namespace

base::Result<SegmentInfo> read_segment_info(FileSystem& files, const fs::path& path) {
  const auto file = files.open(path, Access::kRead);
  if (!file) return file.error();
  SegmentHeaderBytes bytes{};
  const auto got = (*file)->read_at(0, bytes);
  if (!got) return got.error();
  SegmentInfo info;
  info.segment = segment_of(path.filename().string()).value_or(0);
  info.path = path;
  const auto header = decode_segment_header(std::span(bytes).first(*got));
  if (header) {
    info.header = *header;
    info.ledger_id = header->ledger_id;
    info.id_is_certain = true;
    return info;
  }
  if (header.error().code != base::ErrorCode::kCorruptFile || *got < bytes.size()) {
    return base::Error{header.error().code, path.string() + " " + header.error().detail};
  }
  info.problem = header.error().detail;
  info.ledger_id = raw_ledger_id(bytes);
  return info;
}

base::Result<std::vector<SegmentInfo>> survey(FileSystem& files, const fs::path& directory) {
  const auto names = files.list(directory);
  if (!names) return names.error();
  std::vector<SegmentInfo> segments;
  std::optional<base::Error> too_short;
  for (const std::string& name : *names) {
    const auto segment = segment_of(name);
    if (!segment) continue;
    auto info = read_segment_info(files, directory / name);
    if (info) {
      segments.push_back(*std::move(info));
    } else if (info.error().code == base::ErrorCode::kCorruptFile) {
      if (!too_short) too_short = info.error();
      SegmentInfo& unreadable = segments.emplace_back();
      unreadable.segment = *segment;
      unreadable.path = directory / name;
      unreadable.problem = "is shorter than a header";
    } else {
      return info.error();
    }
  }
  std::sort(segments.begin(), segments.end(),
            [](const SegmentInfo& a, const SegmentInfo& b) { return a.segment < b.segment; });
  const auto ledger_id = id_of_ledger(segments);
  if (too_short && !ledger_id) return *too_short;
  for (SegmentInfo& info : segments) compare(info, ledger_id);
  return segments;
}

std::optional<DamagedSpan> header_damage(const SegmentInfo& info, std::uint64_t size) {
  if (info.problem.empty()) return std::nullopt;
  return DamagedSpan{.segment = info.segment,
                     .offset = 0,
                     .length = info.foreign ? size : std::min(size, kSegmentHeaderBytes),
                     .what = "segment " + info.problem};
}

std::optional<DamagedSpan> gap_before(std::uint32_t previous, std::optional<std::uint64_t> expected,
                                      const SegmentInfo& next) {
  const bool segment_missing = next.segment > previous + 1;
  const bool records_missing = expected && next.header && next.header->first_number > *expected;
  if (!segment_missing && !records_missing) return std::nullopt;
  DamagedSpan gap{.segment = segment_missing ? previous + 1 : next.segment,
                  .what = segment_missing ? "segment is missing" : "record numbers are missing"};
  if (records_missing) {
    gap.first_lost = *expected;
    gap.last_lost = next.header->first_number - 1;
  }
  return gap;
}

}  // namespace crestgate::protocol
