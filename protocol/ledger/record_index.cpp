// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/record_index.h"

#include <algorithm>

namespace crestgate::protocol {

RecordIndex::RecordIndex(std::unique_ptr<File> file, const EntryOwner& owner,
                         std::optional<std::uint64_t> first_number)
    : file_(std::move(file)),
      segment_(owner.segment),
      scanner_(ScanStart{.owner = owner, .expected_number = first_number, .first_number = first_number}) {}

base::Outcome RecordIndex::read_on() {
  const auto size = file_->size();
  if (!size) return size.error();
  for (;;) {
    const auto item = scanner_.next(*file_, *size);
    if (!item) return item.error();
    if (item->what != ScanItem::What::kEntry) return base::Done{};
    rows_.push_back({item->header.number, item->offset});
  }
}

base::Result<std::optional<std::uint64_t>> RecordIndex::offset_of(std::uint64_t number) {
  if (rows_.empty() || rows_.back().number < number) {
    const auto read = read_on();
    if (!read) return read.error();
  }
  const auto it = std::lower_bound(rows_.begin(), rows_.end(), number,
                                   [](const Row& row, std::uint64_t wanted) { return row.number < wanted; });
  if (it == rows_.end() || it->number != number) return std::optional<std::uint64_t>();
  return std::optional<std::uint64_t>(it->offset);
}

}  // namespace crestgate::protocol
