// SPDX-License-Identifier: Apache-2.0
#pragma once
// Writes records on a thread of its own and says when each is durable.

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>

#include "base/record.h"
#include "base/result.h"
#include "daemon/cell/cycle/cycle_event.h"
#include "daemon/cell/runner/worker.h"

namespace crestgate::protocol {
class FileSystem;
class LedgerWriter;
}  // namespace crestgate::protocol

namespace crestgate::cell {

// Runs a function on the I/O thread.
using PostBack = std::function<void(std::function<void()>)>;

// Ownership  owns the writer. Lifetime: `files` and what `post_back` reaches outlive the clerk.
// Threads    all calls on the I/O thread; answers come there through `post_back`.
class LedgerClerk {
 public:
  LedgerClerk(protocol::FileSystem& files, std::filesystem::path ledger,
              std::unique_ptr<protocol::LedgerWriter> writer, PostBack post_back);
  ~LedgerClerk();
  LedgerClerk(const LedgerClerk&) = delete;
  LedgerClerk& operator=(const LedgerClerk&) = delete;

  using Answer = std::function<void(base::Result<Receipt>)>;

  // Answered once, in the order of the calls. kBusy at once when the queue is full.
  void record(std::shared_ptr<const base::Record> record, const Answer& answer);
  void record(std::shared_ptr<const base::Traverse> traverse, const Answer& answer);

  // After a failure: lets go of the writer and opens the ledger again, which repairs what the failure left.
  // Answers with the number of bytes that the repair set aside.
  void reopen(const std::function<void(base::Result<std::uint64_t>)>& answer);

 private:
  void submit(std::function<base::Record()> make, const Answer& answer);

  protocol::FileSystem& files_;
  const std::filesystem::path ledger_;
  std::unique_ptr<protocol::LedgerWriter> writer_;  // touched by the worker's thread only, once it runs
  PostBack post_back_;
  Worker worker_;  // last: it stops before what its jobs use goes away
};

// The reason shown for an error of the ledger.
base::Reason ledger_reason(const base::Error& error);

}  // namespace crestgate::cell
