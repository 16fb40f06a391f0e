// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/ledger_clerk.h"

#include <exception>
#include <string>
#include <utility>

#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_writer.h"

namespace crestgate::cell {
namespace {

// More than one part can have waiting; a ledger that is behind by this much is a fault, not a queue.
constexpr std::size_t kMostWaiting = 256;

}  // namespace

LedgerClerk::LedgerClerk(protocol::FileSystem& files, std::filesystem::path ledger,
                         std::unique_ptr<protocol::LedgerWriter> writer, PostBack post_back)
    : files_(files),
      ledger_(std::move(ledger)),
      writer_(std::move(writer)),
      post_back_(std::move(post_back)),
      worker_(kMostWaiting) {}

LedgerClerk::~LedgerClerk() = default;

void LedgerClerk::record(std::shared_ptr<const base::Record> record, const Answer& answer) {
  submit([record = std::move(record)] { return *record; }, answer);
}

void LedgerClerk::record(std::shared_ptr<const base::Traverse> traverse, const Answer& answer) {
  submit([traverse = std::move(traverse)] { return base::Record(*traverse); }, answer);
}

void LedgerClerk::submit(std::function<base::Record()> make, const Answer& answer) {
  auto job = [this, make = std::move(make), answer] {
    base::Result<Receipt> result = base::Error{base::ErrorCode::kIo, "the ledger is not open"};
    try {
      if (writer_) {
        auto receipt = writer_->append(make());
        if (receipt) {
          result = Receipt{.number = receipt->number, .digest = receipt->digest};
        } else {
          result = receipt.error();
        }
      }
    } catch (const std::exception& failure) {
      result = base::Error{base::ErrorCode::kIo, std::string("writing a record failed: ") + failure.what()};
    }
    post_back_([answer, result = std::move(result)] { answer(result); });
  };
  if (!worker_.post(std::move(job))) {
    answer(base::Error{base::ErrorCode::kBusy, "too many records wait for the ledger's disk"});
  }
}

void LedgerClerk::reopen(const std::function<void(base::Result<std::uint64_t>)>& answer) {
  auto job = [this, answer] {
    base::Result<std::uint64_t> result = base::Error{base::ErrorCode::kIo, "the ledger is not open"};
    try {
      writer_.reset();  // first: it holds the lock
      auto opened = protocol::LedgerWriter::open(files_, ledger_, {});
      if (opened) {
        writer_ = std::move(*opened);
        result = writer_->recovery().torn_bytes;
      } else {
        result = opened.error();
      }
    } catch (const std::exception& failure) {
      result = base::Error{base::ErrorCode::kIo, std::string("opening the ledger failed: ") + failure.what()};
    }
    post_back_([answer, result = std::move(result)] { answer(result); });
  };
  if (!worker_.post(std::move(job)))
    answer(base::Error{base::ErrorCode::kBusy, "the ledger's disk does not answer"});
}

base::Reason ledger_reason(const base::Error& error) {
  switch (error.code) {
    case base::ErrorCode::kNoSpace:
      return base::Reason::kLedgerNoSpace;
    case base::ErrorCode::kBusy:
      return base::Reason::kLedgerSlow;
    default:
      return base::Reason::kLedgerWriteFailed;
  }
}

}  // namespace crestgate::cell
