// SPDX-License-Identifier: Apache-2.0
#pragma once
// The world around a cycle as it answers: a gauge, a ledger and analysis whose answers come late, badly, twice or not
// at all; and a small model beside it, which knows nothing of phases and says what may be shown.

#include <algorithm>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle_bench.h"

namespace crestgate::cell {

using base::Lamp;
using base::Reason;
using base::Verdict;

constexpr std::int64_t kSilenceMs = 2000;
constexpr std::int64_t kGreenLimitMs = 120'000;

struct Recorded {
  base::Judgement judgement;
  int begun_at_step = 0;  // the first thing that was done for it
  std::int64_t durable_ms = 0;
};

// The first thing that was done for a part.
struct Begun {
  int step = 0;
  int gauge_since_step = 0;
};

// What the outside world knows for certain.
struct Model {
  base::PlcInputs plc;
  int unbroken_since_step = 0;  // this request for this part id, part present, no abort, PLC beating
  std::int64_t beat_ms = -1'000'000;
  int present_since_step = 0;        // the part has not moved
  int gauge_since_step = 0;          // no gauge went or came
  std::optional<std::string> named;  // by a scanner, for the part that is on the bench
  bool gauge_online = false;
  bool stylus_up = false;
  bool ledger_good = true;
  bool stopping = false;
  std::map<std::uint64_t, Recorded> accepts;  // durable, by sequence

  [[nodiscard]] bool allows_green(const base::CellSignal& signal, std::int64_t now_ms) const {
    const auto found = accepts.find(signal.sequence);
    if (found == accepts.end()) return false;
    const Recorded& recorded = found->second;
    const auto& name = plc.identity.part_id ? plc.identity.part_id : named;
    return recorded.judgement.identity.part_id == name && !signal.bypass_active &&
           recorded.judgement.request_id == plc.request_id && plc.part_present && !plc.abort &&
           recorded.begun_at_step >= unbroken_since_step && now_ms - beat_ms <= kSilenceMs && ledger_good &&
           !stopping && now_ms - recorded.durable_ms <= kGreenLimitMs;
  }
};

class AnsweringWorld {
 public:
  [[nodiscard]] int greens() const { return greens_; }
  [[nodiscard]] int resumed() const { return resumed_; }

 protected:
  explicit AnsweringWorld(std::uint64_t seed) : chance_(seed), cell_(two_zone_cell()) {
    cell_.bypass = {.allowed = true, .longest_minutes = 60, .fate = base::Fate::kQuarantine};
    start({});
  }

  [[nodiscard]] DescriptionReceipts receipts() const {
    DescriptionReceipts made;
    made.plans.assign(cell_.plans.size(), Receipt{});
    return made;
  }

  void start(PartBook book) {
    cycle_ = std::make_unique<Cycle>(cell_, receipts(), std::move(book), "test", now_);
    waiting_.clear();
    begun_.clear();
    decisions_.clear();
    model_ = {};  // a new process shows nothing old, so the model forgets what it could show
    model_.unbroken_since_step = step_;
    model_.present_since_step = step_;
  }

  // ---- answers ----
  void answer_one() {
    if (waiting_.empty()) return;
    const auto index = static_cast<std::size_t>(pick(static_cast<int>(waiting_.size())));
    CycleAction action = waiting_[index];
    // The same answer may come twice, much later; a stylus, which is no message, goes up once.
    const bool forgotten = pick(6) == 0 && !std::holds_alternative<RetractStylus>(action);
    if (!forgotten) waiting_.erase(waiting_.begin() + static_cast<std::ptrdiff_t>(index));
    std::visit([&](auto& concrete) { answer(concrete, pick(12) == 0); }, action);
  }
  void answer_everything_well() {
    auto all = std::exchange(waiting_, {});
    for (CycleAction& action : all) std::visit([&](auto& concrete) { answer(concrete, false); }, action);
  }

  void answer(const StartTraverse& action, bool badly) {
    if (badly) {
      send(TraverseFailed{.ticket = action.ticket, .reason = Reason::kGaugeStopped, .detail = ""});
      return;
    }
    if (!model_.gauge_online) return;  // who is gone does not answer
    base::Heights heights;
    heights.counts = {++height_, 1, 2};
    send(TraverseCame{.ticket = action.ticket,
                      .heights = heights,
                      .started_utc = {},
                      .started_monotonic = {},
                      .finished_monotonic = {}});
  }
  void answer(const RetractStylus& /*action*/, bool badly) {
    model_.stylus_up = !badly && model_.gauge_online;
    send(StylusWent{.clear = !badly, .reason = badly ? Reason::kGaugeSilent : Reason::kNone, .detail = ""});
  }
  void answer(const RecordTraverse& action, bool badly) {
    if (badly) {
      ledger_fails(action.ticket);
      return;
    }
    book_.note(*action.traverse);
    send(TraverseRecorded{.ticket = action.ticket, .receipt = {.number = ++record_, .digest = {}}});
  }
  void answer(const RecordJudgement& action, bool badly) {
    if (badly) {
      ledger_fails(action.ticket);
      return;
    }
    book_.note(action.judgement);
    if (action.judgement.verdict == Verdict::kAccept && !model_.accepts.contains(action.judgement.sequence)) {
      model_.accepts[action.judgement.sequence] = {action.judgement, begun_[action.ticket].step, now_ms()};
    }
    model_.ledger_good = true;  // it has just been written
    send(JudgementRecorded{.ticket = action.ticket, .receipt = {.number = ++record_, .digest = {}}});
  }
  void answer(const JudgePart& action, bool badly) {
    const Verdict verdict = badly ? Verdict::kNone : pick(3) == 0 ? Verdict::kReject : Verdict::kAccept;
    const Verdict made = healing_ && !badly ? Verdict::kAccept : verdict;
    decisions_[action.ticket] = made;
    send(PartJudged{.ticket = action.ticket,
                    .decision = CycleBench::decision(made, Reason::kAllWithinLimits)});
  }
  void answer(const RecordEvent& /*action*/, bool /*badly*/) {}
  void answer(const PlansAdopted& /*action*/, bool /*badly*/) {}

  void ledger_fails(Ticket ticket) {
    model_.ledger_good = false;
    send(RecordingFailed{.ticket = ticket, .reason = Reason::kLedgerWriteFailed, .detail = ""});
  }

  // ---- what the line and the gauge do ----
  template <class Change>
  void change(Change make) {
    base::PlcInputs inputs = model_.plc;
    make(inputs);
    set_plc(inputs);
  }
  void set_plc(base::PlcInputs inputs) {
    const base::PlcInputs& before = model_.plc;
    const bool silent = now_ms() - model_.beat_ms > kSilenceMs;
    const bool broken = silent || !inputs.part_present || inputs.abort ||
                        inputs.request_id != before.request_id ||
                        inputs.identity.part_id != before.identity.part_id;
    if (broken) model_.unbroken_since_step = ++step_;
    if (!inputs.part_present) model_.present_since_step = ++step_;
    if (!inputs.part_present && before.part_present) model_.named.reset();
    inputs.heartbeat = ++heartbeat_;
    model_.beat_ms = now_ms();
    model_.plc = inputs;
    send(PlcChanged{inputs});
  }
  void pass(std::int64_t ms, bool beating) {
    for (std::int64_t passed = 0; passed < ms; passed += kTickMs) {
      now_.monotonic.ns += kTickMs * base::kNsPerMs;
      if (beating) set_plc(model_.plc);
      send(Ticked{});
    }
  }
  void gauge_comes(bool clear) {
    model_.gauge_since_step = ++step_;
    model_.gauge_online = true;
    model_.stylus_up = clear;
    std::erase_if(waiting_, [](const CycleAction& action) {
      return std::holds_alternative<RetractStylus>(action) || std::holds_alternative<StartTraverse>(action);
    });
    base::GaugeIdentity identity;
    identity.serial_number = "S";
    send(GaugeCame{.identity = identity, .stylus_clear = clear});
  }
  void gauge_goes() {
    model_.gauge_since_step = ++step_;
    model_.gauge_online = false;
    model_.stylus_up = false;
    send(GaugeWent{.reason = Reason::kGaugeDisconnected, .detail = ""});
  }

  template <class Event>
  void send(Event event) {
    for (CycleAction& action : cycle_->handle(std::move(event), now_)) {
      std::visit([this](const auto& concrete) { note(concrete); }, action);
      waiting_.push_back(std::move(action));
    }
  }
  void note(const RecordJudgement& action) {
    if (action.judgement.verdict != Verdict::kAccept) return;
    const auto made = decisions_.find(action.ticket);
    EXPECT_TRUE(made != decisions_.end() && made->second == Verdict::kAccept)
        << "step " << step_ << ": an accept that analysis did not give for this part";
  }
  void note(const StartTraverse& action) {
    model_.stylus_up = false;
    begin(action.ticket);
  }
  void begin(Ticket ticket) {
    begun_.try_emplace(ticket, Begun{.step = step_, .gauge_since_step = model_.gauge_since_step});
  }
  void note(const RecordTraverse& action) { measured_[action.traverse.get()] = {step_, action.traverse}; }
  // Whatever is judged together was measured on this part, here, with nothing moved in between: once each.
  void note(const JudgePart& action) {
    // Resumed where only the judging was missing: then the gauge is no longer needed.
    begun_.try_emplace(action.ticket, Begun{.step = step_, .gauge_since_step = 0});
    const Begun& begun = begun_[action.ticket];
    EXPECT_EQ(action.traverses.size(), 3U) << "step " << step_;
    const auto of_zone_1 = std::ranges::count_if(
        action.traverses, [](const auto& traverse) { return traverse->zone_number == 1; });
    EXPECT_EQ(of_zone_1, 2) << "step " << step_;
    std::map<std::pair<std::uint32_t, std::uint32_t>, int> seen;
    for (const auto& traverse : action.traverses) {
      EXPECT_GE(measured_[traverse.get()].first, model_.present_since_step) << "step " << step_;
      EXPECT_GE(measured_[traverse.get()].first, begun.gauge_since_step) << "step " << step_;
      EXPECT_EQ(traverse->identity, action.traverses.front()->identity) << "step " << step_;
      EXPECT_EQ((++seen[{traverse->zone_number, traverse->traverse_number}]), 1) << "step " << step_;
    }
  }
  void note(const RecordEvent& action) { resumed_ += action.event.what == "resumed" ? 1 : 0; }
  template <class Action>
  void note(const Action& /*action*/) {}

  void check() {
    const base::CellSignal shown = signal();
    const bool green = shown.lamp == Lamp::kGreen || shown.verdict == Verdict::kAccept;
    if (green) {
      ++greens_;
      ASSERT_TRUE(model_.allows_green(shown, now_ms()))
          << "step " << step_ << " sequence " << shown.sequence << " part " << shown.part_id;
      ASSERT_TRUE(shown.result_valid);
    }
    if (shown.stylus_clear) {
      ASSERT_TRUE(model_.gauge_online && model_.stylus_up) << "step " << step_;
    }
  }

  [[nodiscard]] base::CellSignal signal() const { return cycle_->signal(now_.monotonic); }
  [[nodiscard]] std::int64_t now_ms() const { return now_.monotonic.ns / base::kNsPerMs; }
  int pick(int below) { return static_cast<int>(chance_() % static_cast<std::uint64_t>(below)); }

  std::mt19937_64 chance_;
  CellDescription cell_;
  Now now_{.utc = {}, .monotonic = {.ns = 1'000'000'000}};
  std::unique_ptr<Cycle> cycle_;
  std::vector<CycleAction> waiting_;
  std::map<Ticket, Begun> begun_;
  std::map<Ticket, Verdict> decisions_;  // what analysis said last about each part
  std::map<const base::Traverse*, std::pair<int, std::shared_ptr<const base::Traverse>>> measured_;
  bool healing_ = false;
  PartBook book_;  // what the ledger holds: survives restarts
  Model model_;
  int step_ = 0;
  int requests_ = 0;
  int greens_ = 0;
  int resumed_ = 0;
  std::uint64_t record_ = 0;
  std::uint16_t heartbeat_ = 0;
  std::int32_t height_ = 0;
};

}  // namespace crestgate::cell
