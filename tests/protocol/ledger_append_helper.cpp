// SPDX-License-Identifier: Apache-2.0
// Appends records until it is killed, and says on standard output which ones were acknowledged.
//
// Usage  ledger_append_helper DIRECTORY SEGMENT_BYTES
// Output "open LAST", then "ack NUMBER DIGEST" per record; "error DETAIL" and exit 1 if something fails.

#include <cstdlib>
#include <iostream>

#include "protocol/example_records.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_writer.h"

using namespace crestgate;  // NOLINT(google-build-using-namespace)

namespace {

int failed(const base::Error& error) {
  std::cout << "error " << error.detail << std::endl;
  return 1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const auto files = protocol::posix_file_system();
  protocol::LedgerOptions options;
  options.segment_bytes = std::strtoull(argv[2], nullptr, 10);
  auto writer = protocol::LedgerWriter::open(*files, argv[1], options);
  if (!writer) return failed(writer.error());
  std::cout << "open " << (*writer)->last_number() << std::endl;
  for (std::uint64_t number = (*writer)->last_number() + 1;; ++number) {
    // Every fifth is long, so that kills fall into large writes as well.
    base::Traverse traverse = protocol::long_traverse(number % 5 == 0 ? 20'000 : number % 60);
    traverse.request_id = static_cast<std::uint32_t>(number);
    const auto receipt = (*writer)->append(traverse);
    if (!receipt) return failed(receipt.error());
    std::cout << "ack " << receipt->number << " " << to_hex(receipt->digest) << std::endl;
  }
}
