// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/ledger_reader.h"

#include <algorithm>
#include <utility>

#include "protocol/convert/digest.h"
#include "protocol/ledger/ledger_directory.h"
#include "protocol/ledger/record_index.h"
#include "protocol/ledger/segment_scanner.h"

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

EntryOwner owner_of(const SegmentInfo& info) { return {info.ledger_id, info.segment}; }

std::optional<std::uint64_t> first_number_of(const SegmentInfo& info) {
  if (!info.header) return std::nullopt;
  return info.header->first_number;
}

}  // namespace

class LedgerReader::State {
 public:
  State(FileSystem& files, fs::path path, bool is_directory, std::vector<SegmentInfo> segments)
      : files_(files), path_(std::move(path)), is_directory_(is_directory), segments_(std::move(segments)) {}

  base::Result<std::optional<Entry>> next();
  base::Result<Entry> find(std::uint64_t number);
  base::Result<Entry> read_at(const EntryPlace& place);

  std::vector<DamagedSpan> damage;
  std::uint64_t unfinished_bytes = 0;
  std::uint64_t skipped_unknown = 0;

 private:
  // What a step of the walk through the segments came to.
  enum class Step { kEntry, kAgain, kEnd };

  [[nodiscard]] const SegmentInfo& current() const { return segments_[current_]; }
  [[nodiscard]] bool has_next_segment() const { return current_ + 1 < segments_.size(); }
  void note(DamagedSpan span) { damage.push_back(std::move(span)); }

  base::Outcome look_for_new_segments();
  base::Outcome enter_current();
  void leave_current(const ScanItem& last);
  base::Result<ScanItem> scan(std::uint64_t& size);
  base::Result<Step> step(std::optional<Entry>& entry);
  base::Result<Step> step_past_end(const ScanItem& last, std::uint64_t size);

  FileSystem& files_;
  fs::path path_;
  bool is_directory_;
  std::vector<SegmentInfo> segments_;

  std::size_t current_ = 0;
  std::unique_ptr<File> file_;             // of the current segment; null: not entered yet
  std::optional<SegmentScanner> scanner_;  // empty although entered: a foreign segment
  std::optional<std::uint64_t> expected_;  // the number that should come next
  bool end_noted_ = false;                 // bytes after END of the current segment were looked at

  std::optional<RecordIndex> index_;
};

base::Outcome LedgerReader::State::look_for_new_segments() {
  if (!is_directory_) return base::Done{};
  const auto names = files_.list(path_);
  if (!names) return names.error();
  const std::uint32_t newest = segments_.back().segment;
  const bool grown = std::any_of(names->begin(), names->end(), [newest](const std::string& name) {
    return segment_of(name).value_or(0) > newest;
  });
  if (!grown) return base::Done{};
  auto all = survey(files_, path_);
  if (!all) return all.error();
  for (SegmentInfo& info : *all) {
    if (info.segment > newest) segments_.push_back(std::move(info));
  }
  return base::Done{};
}

base::Outcome LedgerReader::State::enter_current() {
  auto file = files_.open(current().path, Access::kRead);
  if (!file) return file.error();
  const auto size = (*file)->size();
  if (!size) return size.error();
  if (auto problem = header_damage(current(), *size)) note(*std::move(problem));
  file_ = *std::move(file);
  end_noted_ = false;
  scanner_.reset();
  if (current().foreign) return base::Done{};
  const auto first = first_number_of(current());
  // The oldest segment decides where the ledger begins; older ones may have been removed.
  if (!expected_) expected_ = first;
  scanner_.emplace(
      ScanStart{.owner = owner_of(current()), .expected_number = expected_, .first_number = first});
  return base::Done{};
}

// Reads one step below a size taken before. In a segment that may be growing, or that is being cut back by
// its writer, damage is believed only when a second look agrees.
base::Result<ScanItem> LedgerReader::State::scan(std::uint64_t& size) {
  const ScanStart before = scanner_->state();
  for (int look = 0;; ++look) {
    const auto now = file_->size();
    if (!now) return now.error();
    size = *now;
    auto item = scanner_->next(*file_, size);
    if (!item || item->damage.empty() || look == 1 || has_next_segment()) return item;
    scanner_->go_back(before);
  }
}

void LedgerReader::State::leave_current(const ScanItem& last) {
  const bool sealed = scanner_ && last.what == ScanItem::What::kEnd;
  if (scanner_) expected_ = scanner_->expected_number();
  auto gap = gap_before(current().segment, expected_, segments_[current_ + 1]);
  if (scanner_ && !sealed) {
    DamagedSpan tail{.segment = current().segment,
                     .offset = last.offset,
                     .length = last.tail_bytes,
                     .what = "the segment is not the newest and has no END"};
    if (gap && gap->segment == segments_[current_ + 1].segment) {
      tail.first_lost = gap->first_lost;
      tail.last_lost = gap->last_lost;
      gap.reset();
    }
    note(std::move(tail));
  }
  if (gap) note(*std::move(gap));
  if (const auto first = first_number_of(segments_[current_ + 1])) {
    expected_ = std::max(expected_.value_or(0), *first);
  }
  ++current_;
  file_.reset();
}

base::Result<LedgerReader::State::Step> LedgerReader::State::step_past_end(const ScanItem& last,
                                                                           std::uint64_t size) {
  const bool sealed = last.what == ScanItem::What::kEnd;
  if (sealed && !end_noted_) {
    end_noted_ = true;
    const std::uint64_t end = last.offset + entry_bytes(kEndBodyBytes);
    if (size > end) {
      note({.segment = current().segment, .offset = end, .length = size - end, .what = "bytes after END"});
    }
  }
  const bool knew_next = has_next_segment();
  if (!knew_next) {
    const auto looked = look_for_new_segments();
    if (!looked) return looked.error();
    if (!has_next_segment()) {
      unfinished_bytes = sealed ? 0 : last.tail_bytes;
      return Step::kEnd;
    }
    // The writer went on meanwhile: what looked like the tail may be whole now.
    if (!sealed && scanner_) return Step::kAgain;
  }
  leave_current(last);
  return Step::kAgain;
}

base::Result<LedgerReader::State::Step> LedgerReader::State::step(std::optional<Entry>& entry) {
  if (!file_) {
    const auto entered = enter_current();
    if (!entered) return entered.error();
  }
  if (!scanner_) return step_past_end({}, 0);
  const bool after_end = end_noted_;
  std::uint64_t size = 0;
  auto item = scan(size);
  if (!item) return item.error();
  // END is met again on each call at the end of a sealed newest segment; its damage was noted the first time.
  if (!after_end) {
    for (DamagedSpan& span : item->damage) note(std::move(span));
  }
  if (item->what != ScanItem::What::kEntry) return step_past_end(*item, size);
  const auto kind = static_cast<RecordKind>(item->header.kind);
  if (!is_known(kind)) {
    ++skipped_unknown;
    return Step::kAgain;
  }
  const auto body = scanner_->body();
  entry = Entry{.number = item->header.number,
                .kind = kind,
                .body = {body.begin(), body.end()},
                .digest = digest_of(body),
                .place = {current().segment, item->offset}};
  return Step::kEntry;
}

base::Result<std::optional<Entry>> LedgerReader::State::next() {
  std::optional<Entry> entry;
  for (;;) {
    const auto done = step(entry);
    if (!done) return done.error();
    if (*done != Step::kAgain) return entry;
  }
}

base::Result<Entry> LedgerReader::State::find(std::uint64_t number) {
  const auto looked = look_for_new_segments();
  if (!looked) return looked.error();
  const auto not_after = [number](const SegmentInfo& info) {
    return info.header && !info.foreign && info.header->first_number <= number;
  };
  const auto last = std::find_if(segments_.rbegin(), segments_.rend(), not_after);
  auto it = last == segments_.rend() ? segments_.begin() : std::prev(last.base());
  // A segment with a damaged header may hold it too, if it lies behind the one that should.
  for (bool first = true; it != segments_.end() && (first || !it->header); ++it, first = false) {
    if (it->foreign) continue;
    if (!index_ || index_->segment() != it->segment) {
      auto file = files_.open(it->path, Access::kRead);
      if (!file) return file.error();
      index_.emplace(*std::move(file), owner_of(*it), first_number_of(*it));
    }
    const auto offset = index_->offset_of(number);
    if (!offset) return offset.error();
    if (*offset) return read_entry(index_->file(), owner_of(*it), **offset);
  }
  return base::Error{base::ErrorCode::kNotFound,
                     "record " + std::to_string(number) + " is not in ledger " + path_.string()};
}

base::Result<Entry> LedgerReader::State::read_at(const EntryPlace& place) {
  const auto looked = look_for_new_segments();
  if (!looked) return looked.error();
  const auto it = std::find_if(segments_.begin(), segments_.end(), [&place](const SegmentInfo& info) {
    return info.segment == place.segment && !info.foreign;
  });
  if (it == segments_.end()) {
    return base::Error{base::ErrorCode::kNotFound,
                       "ledger " + path_.string() + " has no segment " + std::to_string(place.segment)};
  }
  auto file = files_.open(it->path, Access::kRead);
  if (!file) return file.error();
  return read_entry(**file, owner_of(*it), place.offset);
}

base::Result<LedgerReader> LedgerReader::open(FileSystem& files, const fs::path& path) {
  const auto is_directory = files.is_directory(path);
  if (!is_directory) return is_directory.error();
  std::vector<SegmentInfo> segments;
  if (*is_directory) {
    auto all = survey(files, path);
    if (!all) return all.error();
    segments = *std::move(all);
    if (segments.empty()) {
      return base::Error{base::ErrorCode::kNotFound, path.string() + " holds no ledger segment"};
    }
  } else {
    auto info = read_segment_info(files, path);
    if (!info) return info.error();
    // Alone there is nothing to mend a damaged header with.
    if (!info->header) return base::Error{base::ErrorCode::kCorruptFile, path.string() + " " + info->problem};
    info->segment = info->header->segment;
    segments.push_back(*std::move(info));
  }
  return LedgerReader(std::make_unique<State>(files, path, *is_directory, std::move(segments)));
}

LedgerReader::LedgerReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
LedgerReader::LedgerReader(LedgerReader&& other) noexcept = default;
LedgerReader& LedgerReader::operator=(LedgerReader&& other) noexcept = default;
LedgerReader::~LedgerReader() = default;

base::Result<std::optional<Entry>> LedgerReader::next() { return state_->next(); }
const std::vector<DamagedSpan>& LedgerReader::damage() const { return state_->damage; }
std::uint64_t LedgerReader::unfinished_bytes() const { return state_->unfinished_bytes; }
std::uint64_t LedgerReader::skipped_unknown() const { return state_->skipped_unknown; }
base::Result<Entry> LedgerReader::find(std::uint64_t number) { return state_->find(number); }
base::Result<Entry> LedgerReader::read_at(const EntryPlace& place) { return state_->read_at(place); }

}  // namespace crestgate::protocol
