// SPDX-License-Identifier: Apache-2.0
#pragma once
// What happens to the ledger when a cell starts: repair, remember, record what the coming records will cite.

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "base/clock.h"
#include "base/result.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle/part_book.h"

namespace crestgate::protocol {
class FileSystem;
class LedgerWriter;
}  // namespace crestgate::protocol

namespace crestgate::cell {

// Every document that a ledger holds, by kind and content.
using KnownDocuments = std::map<std::pair<base::DocumentKind, std::string>, Receipt>;

struct OpenLedger {
  std::unique_ptr<protocol::LedgerWriter> writer;
  PartBook book;
  DescriptionReceipts receipts;
  KnownDocuments documents;
  std::vector<std::string> repairs;  // one line each, for the log; they are in the ledger as events too
};

// Purpose  locks and repairs the ledger, reads back each part's attempts and verdicts, and makes sure that
//          the cell's and the plans' descriptions are records in it (a description that is there already,
//          byte for byte, is cited again and not written again).
// Errors   kBusy: another process writes this ledger; those of the writer and reader.
base::Result<OpenLedger> open_ledger(protocol::FileSystem& files, const CellDescription& cell,
                                     const std::string& software_version, Now now);

}  // namespace crestgate::cell
