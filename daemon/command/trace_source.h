// SPDX-License-Identifier: Apache-2.0
#pragma once
// TRACE on the command line: a file, or a traverse in a ledger.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/record.h"
#include "base/result.h"

namespace crestgate::command {

struct Trace {
  double spacing_mm = 0.0;
  std::vector<double> heights_um;
  std::string description;                 // where it came from, for people
  std::optional<base::Traverse> recorded;  // when it came from a ledger
};

// Errors  kNotFound, kIo, kCorruptFile, kInvalidConfig: one line naming file and line, or ledger and record.
base::Result<Trace> load_trace(const std::string& name);

// "LEDGER#17": folder and number; absent for any other name.
struct RecordName {
  std::filesystem::path ledger;
  std::uint64_t number = 0;
};
std::optional<RecordName> as_record_name(const std::string& name);

// Reads one record of a ledger.
base::Result<base::Record> load_record(const RecordName& name);

}  // namespace crestgate::command
