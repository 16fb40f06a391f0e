// SPDX-License-Identifier: Apache-2.0
#pragma once
// Sees to it that descriptions are in the ledger before anything is measured by them.

#include <functional>
#include <memory>
#include <string>
#include <utility>

#include "base/record.h"
#include "base/result.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/cycle/cycle_event.h"
#include "daemon/cell/runner/open_ledger.h"

namespace crestgate::cell {

class LedgerClerk;

// Threads   the I/O thread. Lifetime: the clerk outlives it.
class PlanOffice {
 public:
  // `known`: what the ledger holds already.
  PlanOffice(KnownDocuments known, LedgerClerk& clerk) : clerk_(clerk), known_(std::move(known)) {}

  // Purpose  records each document of `cell` that is not in the ledger, byte for byte, and answers with the
  //          event for the cycle.
  // Errors   those of the ledger; kBusy: an earlier call has not been answered yet.
  void record(std::shared_ptr<const CellDescription> cell, base::UtcInstant now,
              std::function<void(base::Result<PlansOffered>)> answer);

 private:
  struct Job;

  void next(const std::shared_ptr<Job>& job);

  LedgerClerk& clerk_;
  KnownDocuments known_;
  bool busy_ = false;
};

}  // namespace crestgate::cell
