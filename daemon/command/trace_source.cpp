// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/trace_source.h"

#include <charconv>

#include "analysis/profile/counts.h"
#include "daemon/cell/config/document.h"
#include "protocol/exchange/csv_trace.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_reader.h"

namespace crestgate::command {
namespace {

constexpr std::size_t kLargestCsvBytes = 256U << 20U;

base::Result<Trace> trace_of(base::Traverse traverse, const std::string& name) {
  Trace trace;
  trace.spacing_mm = traverse.heights.spacing_mm;
  trace.heights_um.resize(traverse.heights.counts.size());
  const auto gaps =
      analysis::heights_with_gaps(traverse.heights.counts, traverse.heights.height_step_um, trace.heights_um);
  if (!gaps) return base::Error{gaps.error().code, name + ": " + gaps.error().detail};
  trace.description = name + ", part " + traverse.identity.part_id.value_or("unknown") + ", " +
                      traverse.zone + ", traverse " + std::to_string(traverse.traverse_number) +
                      ", attempt " + std::to_string(traverse.attempt);
  trace.recorded = std::move(traverse);
  return trace;
}

}  // namespace

std::optional<RecordName> as_record_name(const std::string& name) {
  const std::size_t mark = name.rfind('#');
  if (mark == std::string::npos || mark == 0) return std::nullopt;
  RecordName record{.ledger = name.substr(0, mark), .number = 0};
  const char* first = name.data() + mark + 1;
  const char* last = name.data() + name.size();
  const auto [end, failure] = std::from_chars(first, last, record.number);
  if (failure != std::errc{} || end != last) return std::nullopt;
  return record;
}

base::Result<base::Record> load_record(const RecordName& name) {
  const auto files = protocol::posix_file_system();
  auto reader = protocol::LedgerReader::open(*files, name.ledger);
  if (!reader) return reader.error();
  auto entry = reader->find(name.number);
  if (!entry) return entry.error();
  return protocol::record_of(*entry);
}

base::Result<Trace> load_trace(const std::string& name) {
  if (const auto record_name = as_record_name(name)) {
    auto record = load_record(*record_name);
    if (!record) return record.error();
    auto* traverse = std::get_if<base::Traverse>(&*record);
    if (traverse == nullptr) {
      return base::Error{base::ErrorCode::kInvalidConfig,
                         name + ": expected a traverse, found another kind of record"};
    }
    return trace_of(std::move(*traverse), name);
  }
  auto text = cell::read_text_file(name, kLargestCsvBytes);
  if (!text) return text.error();
  auto csv = protocol::parse_csv_trace(*text, name);
  if (!csv) return csv.error();
  return Trace{.spacing_mm = csv->spacing_mm,
               .heights_um = std::move(csv->heights_um),
               .description = name,
               .recorded = std::nullopt};
}

}  // namespace crestgate::command
