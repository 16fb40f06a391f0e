// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/cell_runner.h"

#include <chrono>
#include <exception>
#include <map>
#include <optional>
#include <string>
#include <utility>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <spdlog/spdlog.h>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/runner/gauge_tender.h"
#include "daemon/cell/runner/ledger_clerk.h"
#include "daemon/cell/runner/part_judging.h"
#include "daemon/cell/runner/plan_office.h"
#include "daemon/cell/runner/repeat_gate.h"
#include "daemon/cell/runner/worker.h"
#include "driver/signal/signal_output.h"
#include "protocol/ledger/ledger_writer.h"

namespace crestgate::cell {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;

constexpr milliseconds kStopLimit{5000};
constexpr std::int64_t kReopenAgainMs = 2000;
constexpr std::size_t kMostPartsWaiting = 4;  // one is the rule; the rest are answers nobody wants any more

using Judges = std::vector<analysis::PartJudge>;

std::shared_ptr<Judges> judges_for(const CellDescription& cell) {
  auto judges = std::make_shared<Judges>();
  for (const RecipePlan& entry : cell.plans) judges->emplace_back(entry.plan.part_plan);
  return judges;
}

double ms_between(base::MonotonicInstant from, base::MonotonicInstant to) {
  return static_cast<double>(to - from) / static_cast<double>(base::kNsPerMs);
}

}  // namespace

class CellRunner::Engine {
 public:
  Engine(RunnerParts parts, OpenLedger ledger, const std::string& software_version)
      : parts_(std::move(parts)),
        software_version_(software_version),
        cycle_(parts_.cell, ledger.receipts, std::move(ledger.book), software_version, now()),
        ticker_(parts_.io),
        stop_limit_(parts_.io),
        clerk_(parts_.files, parts_.cell.ledger, std::move(ledger.writer), post_back()),
        judges_(judges_for(parts_.cell)),
        office_(std::move(ledger.documents), clerk_),
        analyst_(kMostPartsWaiting) {
    for (std::uint32_t i = 0; i < parts_.gauges.size(); ++i) {
      tenders_.push_back(std::make_unique<GaugeTender>(parts_.io, parts_.clock, *parts_.gauges[i],
                                                       parts_.cell.gauges[i].name, i, tender_listener()));
    }
  }

  ~Engine() = default;
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  void start() {
    for (const auto& tender : tenders_) tender->start();
    tick();
  }

  // An exception in here is a bug of ours, and may come up inside a driver's callback, which would go on
  // without the actions that got lost. It is carried out of io_context::run instead: the program ends with
  // its outputs safe.
  void take(CycleEvent event) {
    try {
      take_or_throw(std::move(event));
    } catch (...) {
      finished_ = true;
      asio::post(parts_.io, [failure = std::current_exception()] { std::rethrow_exception(failure); });
    }
  }

  void take_or_throw(CycleEvent event) {
    if (finished_) return;
    auto actions = cycle_.handle(std::move(event), now());
    for (CycleAction& action : actions) {
      std::visit([this](auto& concrete) { perform(concrete); }, action);
    }
    publish();
    if (cycle_.stopped()) finish();
  }

  void stop(std::function<void()> stopped) {
    stopped_ = std::move(stopped);
    stop_limit_.expires_after(kStopLimit);
    stop_limit_.async_wait([this](const boost::system::error_code& cancelled) {
      if (cancelled) return;
      spdlog::warn("not everything could be finished within 5 s; stopping all the same");
      finish();
    });
    take(StopAsked{});
  }

  [[nodiscard]] base::CellSignal signal() const {
    base::CellSignal signal = cycle_.signal(parts_.clock.monotonic());
    if (!troubles_.empty()) signal.warnings |= base::kWarnOutputFailed;
    return signal;
  }
  [[nodiscard]] const std::map<std::string, std::string>& output_troubles() const { return troubles_; }
  [[nodiscard]] const Cycle& cycle() const { return cycle_; }

  void record_event(std::string what, std::string detail, std::function<void(base::Outcome)> answer) {
    auto record = std::make_shared<const base::Record>(event_now(std::move(what), std::move(detail)));
    clerk_.record(std::move(record),
                  [this, answer = std::move(answer)](const base::Result<Receipt>& receipt) {
                    if (!receipt) ledger_failed(kNobodysTicket, receipt.error());
                    answer(receipt ? base::Outcome(base::Done{}) : base::Outcome(receipt.error()));
                  });
  }

  void offer_plans(std::shared_ptr<const CellDescription> cell, std::function<void(base::Outcome)> answer) {
    office_.record(std::move(cell), now().utc,
                   [this, answer = std::move(answer)](base::Result<PlansOffered> offered) {
                     if (!offered) {
                       const bool busy = offered.error().code == base::ErrorCode::kBusy;
                       if (!busy) ledger_failed(kNobodysTicket, offered.error());
                       answer(offered.error());
                       return;
                     }
                     take(std::move(*offered));
                     answer(base::Done{});
                   });
  }

  std::function<void(const base::CellSignal&, const PartTiming&)> listener;

 private:
  [[nodiscard]] Now now() const { return {.utc = parts_.clock.utc(), .monotonic = parts_.clock.monotonic()}; }

  [[nodiscard]] base::Event event_now(std::string what, std::string detail) const {
    const Now at = now();
    return {.happened_utc = at.utc,
            .happened_monotonic = at.monotonic,
            .cell = parts_.cell.name,
            .reason = base::Reason::kNone,
            .what = std::move(what),
            .detail = std::move(detail),
            .software_version = software_version_};
  }

  PostBack post_back() {
    return [this](std::function<void()> function) { asio::post(parts_.io, std::move(function)); };
  }

  // ---- time ----

  void tick() {
    ticker_.expires_after(milliseconds(kTickMs));
    ticker_.async_wait([this](const boost::system::error_code& cancelled) {
      if (cancelled) return;
      if (ledger_down_ && !reopening_ && ms_between(reopened_, parts_.clock.monotonic()) >= kReopenAgainMs) {
        reopen_ledger();
      }
      if (!finished_) {
        for (const auto& tender : tenders_) tender->watch();
      }
      take(Ticked{});
      if (!finished_) tick();
    });
  }

  // ---- gauges ----

  TenderListener tender_listener() {
    return {.take = [this](CycleEvent event) { take(std::move(event)); },
            .warn = [this](const std::string& kind, const std::string& detail) { log_once(kind, detail); },
            .last_sample =
                [this](base::MonotonicInstant arrived) {
                  last_sample_ = arrived;
                  ledger_ms_ = 0.0;
                }};
  }

  void perform(const StartTraverse& action) { tenders_[action.gauge]->perform(action); }
  void perform(const RetractStylus& action) { tenders_[action.gauge]->perform(action); }

  // ---- ledger ----

  void perform(RecordTraverse& action) {
    const auto asked = parts_.clock.monotonic();
    clerk_.record(std::move(action.traverse),
                  [this, ticket = action.ticket, asked](base::Result<Receipt> receipt) {
                    ledger_ms_ += ms_between(asked, parts_.clock.monotonic());
                    if (receipt) {
                      take(TraverseRecorded{.ticket = ticket, .receipt = *receipt});
                    } else {
                      ledger_failed(ticket, receipt.error());
                    }
                  });
  }

  void perform(RecordJudgement& action) {
    const auto asked = parts_.clock.monotonic();
    auto record = std::make_shared<const base::Record>(std::move(action.judgement));
    clerk_.record(std::move(record), [this, ticket = action.ticket, asked](base::Result<Receipt> receipt) {
      ledger_ms_ += ms_between(asked, parts_.clock.monotonic());
      if (receipt) {
        take(JudgementRecorded{.ticket = ticket, .receipt = *receipt});
      } else {
        ledger_failed(ticket, receipt.error());
      }
    });
  }

  void perform(RecordEvent& action) {
    auto record = std::make_shared<const base::Record>(std::move(action.event));
    clerk_.record(std::move(record), [this](const base::Result<Receipt>& receipt) {
      if (!receipt) ledger_failed(kNobodysTicket, receipt.error());
    });
  }

  void ledger_failed(Ticket ticket, const base::Error& error) {
    log_once("ledger", error.detail);
    if (!ledger_down_) reopened_ = parts_.clock.monotonic();
    ledger_down_ = true;
    take(RecordingFailed{.ticket = ticket, .reason = ledger_reason(error), .detail = error.detail});
  }

  void reopen_ledger() {
    reopening_ = true;
    clerk_.reopen([this](const base::Result<std::uint64_t>& torn_bytes) {
      if (torn_bytes) {
        probe_ledger(*torn_bytes);
      } else {
        reopening_ended(torn_bytes.error());
      }
    });
  }

  // Opening proves nothing about writing: the ledger is well again once this record is durable.
  void probe_ledger(std::uint64_t torn_bytes) {
    auto record = std::make_shared<const base::Record>(
        event_now("ledger_reopened", std::to_string(torn_bytes) + " bytes of a torn write set aside"));
    clerk_.record(std::move(record), [this](const base::Result<Receipt>& receipt) {
      if (!receipt) {
        reopening_ended(receipt.error());
        return;
      }
      spdlog::info("the ledger can be written again");
      reopening_ = false;
      ledger_down_ = false;
      take(LedgerRecovered{});
    });
  }

  void reopening_ended(const base::Error& error) {
    reopening_ = false;
    reopened_ = parts_.clock.monotonic();
    log_once("ledger", error.detail);
  }

  // ---- analysis ----

  void perform(const PlansAdopted& action) {
    judges_ = judges_for(*action.cell);
    spdlog::info("the cell measures by other plans from now on");
  }

  void perform(JudgePart& action) {
    const Ticket ticket = action.ticket;
    auto job = [this, action = std::move(action), judges = judges_] {
      analysis::PartDecision decision;
      try {
        decision = judge_part((*judges)[action.plan_index], action.traverses);
      } catch (const std::exception& failure) {
        decision = {};
        decision.verdict = base::Verdict::kNone;
        decision.reason = base::Reason::kInternalError;
        decision.detail = std::string("analysis failed: ") + failure.what();
      }
      asio::post(parts_.io, [this, ticket = action.ticket, decision = std::move(decision)] {
        take(PartJudged{.ticket = ticket, .decision = decision});
      });
    };
    if (analyst_.post(std::move(job))) return;
    analysis::PartDecision refused;
    refused.detail = "analysis is still at work on earlier parts";
    asio::post(parts_.io,
               [this, ticket, refused] { take(PartJudged{.ticket = ticket, .decision = refused}); });
  }

  // ---- outputs ----

  void publish() {
    const base::CellSignal signal = this->signal();
    for (driver::SignalOutput* output : parts_.outputs) {
      const std::string name(output->name());
      const auto applied = output->apply(signal);
      if (finished_) continue;
      if (applied) {
        troubles_.erase(name);
        continue;
      }
      // A device that is busy shows the state at the next refresh.
      if (applied.error().code != base::ErrorCode::kBusy) troubles_[name] = applied.error().detail;
      log_once(name, applied.error().detail);
    }
    if (signal.result_valid && signal.sequence != announced_) {
      announced_ = signal.sequence;
      announce(signal);
    }
  }

  void announce(const base::CellSignal& signal) {
    PartTiming timing;
    if (last_sample_) {
      timing = {.total_ms = ms_between(*last_sample_, parts_.clock.monotonic()), .ledger_ms = ledger_ms_};
    }
    last_sample_.reset();
    spdlog::debug("result {} after {:.2f} ms, {:.2f} ms of them waiting for the disk", signal.sequence,
                  timing.total_ms, timing.ledger_ms);
    if (listener) listener(signal, timing);
  }

  void finish() {
    if (finished_) return;
    finished_ = true;
    ticker_.cancel();
    stop_limit_.cancel();
    if (stopped_) asio::post(parts_.io, std::move(stopped_));
  }

  // ---- what must not happen ----

  void log_once(const std::string& kind, const std::string& detail) {
    if (const auto held = log_gate_.pass(kind, parts_.clock.monotonic())) {
      spdlog::warn("{}: {}{}", kind, detail,
                   *held == 0 ? "" : " (and " + std::to_string(*held) + " times before)");
    }
  }

  RunnerParts parts_;
  const std::string software_version_;
  Cycle cycle_;
  asio::steady_timer ticker_;
  asio::steady_timer stop_limit_;
  std::function<void()> stopped_;
  bool finished_ = false;
  std::map<std::string, std::string> troubles_;  // output -> why it failed at the last refresh
  bool ledger_down_ = false;
  bool reopening_ = false;
  base::MonotonicInstant reopened_;
  std::optional<base::MonotonicInstant> last_sample_;
  double ledger_ms_ = 0.0;
  std::uint64_t announced_ = 0;
  RepeatGate log_gate_;
  LedgerClerk clerk_;
  std::shared_ptr<Judges> judges_;  // what is in it is used by the analyst's thread only
  PlanOffice office_;
  std::vector<std::unique_ptr<GaugeTender>> tenders_;
  Worker analyst_;  // last: it stops before what its jobs use goes away
};

CellRunner::CellRunner(RunnerParts parts, OpenLedger ledger, const std::string& software_version)
    : engine_(std::make_unique<Engine>(std::move(parts), std::move(ledger), software_version)) {}
CellRunner::~CellRunner() = default;

void CellRunner::start() { engine_->start(); }
void CellRunner::plc_changed(const base::PlcInputs& inputs) { engine_->take(PlcChanged{inputs}); }
void CellRunner::tell(CycleEvent event) { engine_->take(std::move(event)); }
void CellRunner::offer_plans(std::shared_ptr<const CellDescription> cell,
                             std::function<void(base::Outcome)> answer) {
  engine_->offer_plans(std::move(cell), std::move(answer));
}
void CellRunner::record_event(std::string what, std::string detail,
                              std::function<void(base::Outcome)> answer) {
  engine_->record_event(std::move(what), std::move(detail), std::move(answer));
}
base::CellSignal CellRunner::signal() const { return engine_->signal(); }
const std::map<std::string, std::string>& CellRunner::output_troubles() const {
  return engine_->output_troubles();
}
const Cycle& CellRunner::cycle() const { return engine_->cycle(); }
void CellRunner::stop(std::function<void()> stopped) { engine_->stop(std::move(stopped)); }
void CellRunner::on_result(std::function<void(const base::CellSignal&, const PartTiming&)> listener) {
  engine_->listener = std::move(listener);
}

}  // namespace crestgate::cell
