// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/segment_scanner.h"

#include <algorithm>

#include "protocol/convert/digest.h"

namespace crestgate::protocol {
namespace {

constexpr std::size_t kWindowBytes = std::size_t{64} << 10U;

bool all_zero(std::span<const std::byte> bytes) {
  return std::all_of(bytes.begin(), bytes.end(), [](std::byte byte) { return byte == std::byte{0}; });
}

}  // namespace

std::span<const std::byte> SegmentScanner::body() const { return std::span(content_).first(body_length_); }

std::optional<EntryHeader> SegmentScanner::refuse(std::string_view why) {
  why_not_whole_ = why;
  return std::nullopt;
}

// The number of END repeats that of the last record; a record takes the next one.
bool SegmentScanner::number_fits(const EntryHeader& header) const {
  if (!at_.expected_number) return true;
  const std::uint64_t lowest = *at_.expected_number - (header.kind == kEndKind ? 1 : 0);
  return header.number >= lowest;
}

base::Result<std::optional<EntryHeader>> SegmentScanner::whole_at(File& file, std::uint64_t offset,
                                                                  std::uint64_t limit) {
  if (offset > limit || limit - offset < kEntryHeaderBytes) return refuse("the file ends inside an entry");
  EntryHeaderBytes bytes{};
  const auto header_read = file.read_at(offset, bytes);
  if (!header_read) return header_read.error();
  if (*header_read < bytes.size()) return refuse("the file ends inside an entry");
  const auto header = decode_entry_header(bytes);
  if (!header) return refuse(has_entry_marker(bytes) ? "impossible entry header" : "no entry marker");
  if (!number_fits(*header)) return refuse("a record number that was there before");
  // Before anything is allocated: the length must fit into what is left.
  const std::uint64_t content = padded(header->body_length);
  if (content > limit - offset - kEntryHeaderBytes) return refuse("the file ends inside an entry");
  content_.resize(content);
  const auto content_read = file.read_at(offset + kEntryHeaderBytes, content_);
  if (!content_read) return content_read.error();
  if (*content_read < content) return refuse("the file ends inside an entry");
  body_length_ = header->body_length;
  if (entry_crc(at_.owner, bytes, body()) != header->crc) return refuse("wrong CRC");
  if (header->kind == kEndKind && !decode_segment_end(body())) return refuse("impossible END");
  return header;
}

base::Result<std::optional<std::uint64_t>> SegmentScanner::search(File& file, std::uint64_t from,
                                                                  std::uint64_t limit, EntryHeader& found) {
  std::vector<std::byte> window(kWindowBytes);
  for (std::uint64_t start = from; start < limit; start += kWindowBytes) {
    const auto got = file.read_at(start, window);
    if (!got) return got.error();
    const auto filled = std::span(window).first(*got);
    for (std::size_t i = 0; i < filled.size(); i += kEntryAlignment) {
      if (!has_entry_marker(filled.subspan(i))) continue;
      const auto header = whole_at(file, start + i, limit);
      if (!header) return header.error();
      if (!*header) continue;
      found = **header;
      return std::optional<std::uint64_t>(start + i);
    }
  }
  return std::optional<std::uint64_t>();
}

base::Result<ScanItem> SegmentScanner::next(File& file, std::uint64_t limit) {
  ScanItem item;
  item.offset = at_.offset;
  const auto here = whole_at(file, at_.offset, limit);
  if (!here) return here.error();
  if (*here) {
    item.header = **here;
    note_missing(item.header, item);
  } else {
    const std::string_view why = why_not_whole_;
    const auto place = search(file, at_.offset + kEntryAlignment, limit, item.header);
    if (!place) return place.error();
    if (!*place) {
      item.tail_bytes = limit > at_.offset ? limit - at_.offset : 0;
      return item;
    }
    item.offset = **place;
    note_missing(item.header, item);
    if (item.damage.empty()) item.damage.push_back({.segment = at_.owner.segment});
    item.damage.back().offset = at_.offset;
    item.damage.back().length = item.offset - at_.offset;
    item.damage.back().what = why;
  }
  note_padding(item.header, item);
  if (item.header.kind == kEndKind) {
    note_end(item.header, item);
    item.what = ScanItem::What::kEnd;
    at_.offset = item.offset;
    at_.expected_number = item.header.number + 1;
    return item;
  }
  item.what = ScanItem::What::kEntry;
  at_.offset = item.offset + entry_bytes(item.header.body_length);
  at_.expected_number = item.header.number + 1;
  return item;
}

void SegmentScanner::note_missing(const EntryHeader& header, ScanItem& item) const {
  if (!at_.expected_number) return;
  const std::uint64_t last_missing = header.kind == kEndKind ? header.number : header.number - 1;
  if (last_missing < *at_.expected_number) return;
  item.damage.push_back({.segment = at_.owner.segment,
                         .offset = item.offset,
                         .length = 0,
                         .first_lost = *at_.expected_number,
                         .last_lost = last_missing,
                         .what = "record numbers are missing"});
}

void SegmentScanner::note_padding(const EntryHeader& header, ScanItem& item) const {
  const auto padding = std::span(content_).subspan(body_length_);
  if (all_zero(padding)) return;
  item.damage.push_back({.segment = at_.owner.segment,
                         .offset = item.offset + kEntryHeaderBytes + header.body_length,
                         .length = padding.size(),
                         .what = "padding is not zero; the entry before it is whole"});
}

void SegmentScanner::note_end(const EntryHeader& header, ScanItem& item) const {
  const auto end = decode_segment_end(body());
  const bool counted = !at_.first_number || header.number + 1 - *at_.first_number == end->entries;
  if (end->offset == item.offset && counted) return;
  item.damage.push_back({.segment = at_.owner.segment,
                         .offset = item.offset,
                         .length = entry_bytes(header.body_length),
                         .what = "END does not agree with its segment"});
}

base::Result<Entry> read_entry(File& file, const EntryOwner& owner, std::uint64_t offset) {
  const auto size = file.size();
  if (!size) return size.error();
  SegmentScanner scanner({.owner = owner, .offset = offset});
  const auto item = scanner.next(file, *size);
  if (!item) return item.error();
  if (item->what != ScanItem::What::kEntry || item->offset != offset) {
    return base::Error{base::ErrorCode::kCorruptFile, "segment " + std::to_string(owner.segment) + " at " +
                                                          std::to_string(offset) + ": no whole record here"};
  }
  const auto body = scanner.body();
  return Entry{.number = item->header.number,
               .kind = static_cast<RecordKind>(item->header.kind),
               .body = {body.begin(), body.end()},
               .digest = digest_of(body),
               .place = {owner.segment, offset}};
}

}  // namespace crestgate::protocol
