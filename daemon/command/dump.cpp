// SPDX-License-Identifier: Apache-2.0
#include <cstdio>
#include <string>

#include <nlohmann/json.hpp>

#include "base/digest.h"
#include "daemon/command/commands.h"
#include "daemon/command/trace_source.h"
#include "protocol/convert/describe.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_reader.h"

namespace crestgate::command {
namespace {

void print_entry(const protocol::Entry& entry, const base::Record& record, Format format) {
  const std::string kind(protocol::name_of(entry.kind));
  if (format == Format::kJson) {
    const nlohmann::ordered_json shown{{"record", entry.number},
                                       {"kind", kind},
                                       {"digest", base::to_hex(entry.digest)},
                                       {"bytes", entry.body.size()},
                                       {"text", protocol::describe(record)}};
    std::printf("%s\n", shown.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
    return;
  }
  std::printf("record %llu: %s, %zu bytes, sha256 %s\n", static_cast<unsigned long long>(entry.number),
              kind.c_str(), entry.body.size(), base::to_hex(entry.digest).c_str());
  const std::string text = protocol::describe(record);
  for (std::size_t start = 0; start < text.size();) {
    const std::size_t end = text.find('\n', start);
    std::printf("  %s\n", text.substr(start, end - start).c_str());
    start = end == std::string::npos ? text.size() : end + 1;
  }
}

int dump_one(const RecordName& name, const DumpOptions& options) {
  const auto files = protocol::posix_file_system();
  auto reader = protocol::LedgerReader::open(*files, name.ledger);
  if (!reader) return could_not_run(reader.error());
  auto entry = reader->find(name.number);
  if (!entry) return could_not_run(entry.error());
  auto record = protocol::record_of(*entry);
  if (!record) return could_not_run(record.error());
  print_entry(*entry, *record, options.format);
  return kFine;
}

}  // namespace

int dump(const DumpOptions& options) {
  if (const auto name = as_record_name(options.file)) return dump_one(*name, options);
  const auto files = protocol::posix_file_system();
  auto reader = protocol::LedgerReader::open(*files, options.file);
  if (!reader) return could_not_run(reader.error());
  bool all_read = true;
  while (true) {
    auto entry = reader->next();
    if (!entry) return could_not_run(entry.error());
    if (!entry->has_value()) break;
    if (options.kind && protocol::name_of((*entry)->kind) != *options.kind) continue;
    auto record = protocol::record_of(**entry);
    if (!record) {
      could_not_run(record.error());
      all_read = false;
      continue;
    }
    print_entry(**entry, *record, options.format);
  }
  for (const auto& span : reader->damage()) {
    could_not_run(protocol::to_line(span));
    all_read = false;
  }
  return all_read ? kFine : kAnswerIsNo;
}

}  // namespace crestgate::command
