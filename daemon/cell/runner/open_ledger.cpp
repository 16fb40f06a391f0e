// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/open_ledger.h"

#include <algorithm>
#include <utility>
#include <variant>

#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_reader.h"
#include "protocol/ledger/ledger_writer.h"

namespace crestgate::cell {
namespace {

struct Memory {
  PartBook book;
  std::vector<std::string> damage;  // one line each
  KnownDocuments documents;
};

base::Result<Memory> read_back(protocol::FileSystem& files, const CellDescription& cell) {
  Memory memory;
  auto reader = protocol::LedgerReader::open(files, cell.ledger);
  if (!reader) return reader.error();
  while (true) {
    auto entry = reader->next();
    if (!entry) return entry.error();
    if (!entry->has_value()) break;
    auto record = protocol::record_of(**entry);
    if (!record) {  // whole by its check, and yet not to be read: reported, and no reason to stand still
      memory.damage.push_back(record.error().detail);
      continue;
    }
    if (const auto* traverse = std::get_if<base::Traverse>(&*record)) memory.book.note(*traverse);
    if (const auto* judgement = std::get_if<base::Judgement>(&*record)) memory.book.note(*judgement);
    if (const auto* document = std::get_if<base::Document>(&*record)) {
      memory.documents[{document->kind, document->content}] = {.number = (*entry)->number,
                                                               .digest = (*entry)->digest};
    }
  }
  for (const protocol::DamagedSpan& span : reader->damage()) memory.damage.push_back(protocol::to_line(span));
  return memory;
}

base::Event event_of(const CellDescription& cell, const std::string& version, Now now, std::string what,
                     std::string detail) {
  return {.happened_utc = now.utc,
          .happened_monotonic = now.monotonic,
          .cell = cell.name,
          .reason = base::Reason::kNone,
          .what = std::move(what),
          .detail = std::move(detail),
          .software_version = version};
}

class DescriptionRecorder {
 public:
  DescriptionRecorder(protocol::LedgerWriter& writer, KnownDocuments& known, Now now)
      : writer_(writer), known_(known), now_(now) {}

  base::Result<Receipt> receipt_of(base::Document document) {
    auto key = std::pair(document.kind, document.content);
    const auto found = known_.find(key);
    if (found != known_.end()) return found->second;
    document.recorded_utc = now_.utc;
    auto receipt = writer_.append(base::Record(std::move(document)));
    if (!receipt) return receipt.error();
    return known_[std::move(key)] = Receipt{.number = receipt->number, .digest = receipt->digest};
  }

 private:
  protocol::LedgerWriter& writer_;
  KnownDocuments& known_;
  Now now_;
};

}  // namespace

base::Result<OpenLedger> open_ledger(protocol::FileSystem& files, const CellDescription& cell,
                                     const std::string& software_version, Now now) {
  auto writer = protocol::LedgerWriter::open(files, cell.ledger, {});
  if (!writer) return writer.error();
  OpenLedger opened;
  opened.writer = std::move(*writer);

  const protocol::RecoveryReport& recovery = opened.writer->recovery();
  if (recovery.torn_bytes > 0) {
    opened.repairs.push_back("the last write was torn: " + std::to_string(recovery.torn_bytes) +
                             " bytes set aside, nothing acknowledged is lost");
  }
  for (const protocol::DamagedSpan& span : recovery.damaged)
    opened.repairs.push_back(protocol::to_line(span));

  auto memory = read_back(files, cell);
  if (!memory) return memory.error();
  opened.book = std::move(memory->book);
  for (std::string& line : memory->damage) {
    const bool known = std::find(opened.repairs.begin(), opened.repairs.end(), line) != opened.repairs.end();
    if (!known) opened.repairs.push_back(std::move(line));
  }
  for (const std::string& repair : opened.repairs) {
    auto receipt =
        opened.writer->append(base::Record(event_of(cell, software_version, now, "ledger_repaired", repair)));
    if (!receipt) return receipt.error();
  }
  opened.documents = std::move(memory->documents);
  DescriptionRecorder recorder(*opened.writer, opened.documents, now);
  auto receipt = recorder.receipt_of(cell.document);
  if (!receipt) return receipt.error();
  opened.receipts.cell = *receipt;
  for (const OutputDescription& output : cell.outputs) {
    if (!output.dialect_document) continue;
    const auto dialect_receipt = recorder.receipt_of(*output.dialect_document);
    if (!dialect_receipt) return dialect_receipt.error();
  }
  for (const RecipePlan& entry : cell.plans) {
    auto plan_receipt = recorder.receipt_of(entry.plan.document);
    if (!plan_receipt) return plan_receipt.error();
    opened.receipts.plans.push_back(*plan_receipt);
  }
  auto started =
      opened.writer->append(base::Record(event_of(cell, software_version, now, "started", cell.name)));
  if (!started) return started.error();
  return opened;
}

}  // namespace crestgate::cell
