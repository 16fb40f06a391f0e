// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/entry.h"

#include "protocol/convert/convert.h"

namespace crestgate::protocol {

std::string to_line(const DamagedSpan& span) {
  std::string line = "segment " + std::to_string(span.segment) + " at " + std::to_string(span.offset) + ": " +
                     std::to_string(span.length) + " bytes unreadable";
  if (span.last_lost != 0) {
    line +=
        ", records " + std::to_string(span.first_lost) + " to " + std::to_string(span.last_lost) + " lost";
  }
  return line + " (" + span.what + ")";
}

base::Result<base::Record> record_of(const Entry& entry) {
  auto record = parse(entry.body, entry.kind);
  if (record) return record;
  return base::Error{record.error().code,
                     "record " + std::to_string(entry.number) + ": " + record.error().detail};
}

}  // namespace crestgate::protocol
