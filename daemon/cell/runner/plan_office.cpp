// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/plan_office.h"

#include <cstddef>
#include <vector>

#include "daemon/cell/runner/ledger_clerk.h"

namespace crestgate::cell {

struct PlanOffice::Job {
  std::shared_ptr<const CellDescription> cell;
  base::UtcInstant now;
  std::function<void(base::Result<PlansOffered>)> answer;
  std::vector<const base::Document*> documents;  // the cell's first, then the plans' in their order
  std::vector<Receipt> receipts;
};

void PlanOffice::record(std::shared_ptr<const CellDescription> cell, base::UtcInstant now,
                        std::function<void(base::Result<PlansOffered>)> answer) {
  if (busy_) {
    answer(base::Error{base::ErrorCode::kBusy, "plans offered before are still being recorded"});
    return;
  }
  busy_ = true;
  auto job = std::make_shared<Job>(
      Job{.cell = std::move(cell), .now = now, .answer = std::move(answer), .documents = {}, .receipts = {}});
  job->documents.push_back(&job->cell->document);
  for (const RecipePlan& entry : job->cell->plans) job->documents.push_back(&entry.plan.document);
  next(job);
}

void PlanOffice::next(const std::shared_ptr<Job>& job) {
  while (job->receipts.size() < job->documents.size()) {
    const base::Document& document = *job->documents[job->receipts.size()];
    const auto key = std::pair(document.kind, document.content);
    if (const auto found = known_.find(key); found != known_.end()) {
      job->receipts.push_back(found->second);
      continue;
    }
    base::Document recorded = document;
    recorded.recorded_utc = job->now;
    clerk_.record(std::make_shared<const base::Record>(std::move(recorded)),
                  [this, job, key](const base::Result<Receipt>& receipt) {
                    if (!receipt) {
                      busy_ = false;
                      job->answer(receipt.error());
                      return;
                    }
                    known_[key] = *receipt;
                    next(job);
                  });
    return;
  }
  busy_ = false;
  DescriptionReceipts receipts;
  receipts.cell = job->receipts.front();
  receipts.plans.assign(job->receipts.begin() + 1, job->receipts.end());
  job->answer(PlansOffered{.cell = job->cell, .receipts = std::move(receipts)});
}

}  // namespace crestgate::cell
