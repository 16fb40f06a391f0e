// SPDX-License-Identifier: Apache-2.0
#pragma once
// Drives a Cycle by hand: a PLC, a gauge and a ledger that do exactly what the test says, on a hand-driven
// clock.

#include <cstdint>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "daemon/cell/cycle/cycle.h"

namespace crestgate::cell {

inline CellDescription two_zone_cell() {
  CellDescription cell;
  cell.name = "bench under test";
  PlanDescription plan;
  plan.name = "two crests";
  plan.stage_number = 2;
  plan.attempts_allowed = 2;
  plan.on_reject = base::Fate::kRework;
  plan.on_none = base::Fate::kMeasureAgain;
  for (const char* name : {"crest A", "crest B"}) {
    analysis::ZonePlan zone;
    zone.name = name;
    zone.traverses = name == std::string("crest A") ? 2 : 1;
    zone.limits.push_back(
        {.symbol = "Ra", .unit = "um", .lower = {}, .upper = 0.4, .rule = base::AcceptanceRule::kMaximum});
    plan.part_plan.zones.push_back(zone);
    plan.traverses.push_back(
        {.face_length_mm = 8, .length_mm = 5.6, .spacing_mm = 0.0005, .speed_mm_per_s = 1});
  }
  cell.plans.push_back({.recipe = 12, .plan = plan});
  return cell;
}

class CycleBench {
 public:
  explicit CycleBench(PartBook book = {}, CellDescription description = two_zone_cell())
      : cell_(std::move(description)) {
    DescriptionReceipts receipts;
    receipts.cell = {.number = 1, .digest = {}};
    receipts.plans.assign(cell_.plans.size(), Receipt{.number = 2, .digest = {}});
    cycle_ = std::make_unique<Cycle>(cell_, receipts, std::move(book), "test", now_);
  }

  CycleBench(const CycleBench&) = delete;  // the cycle knows where its description lies
  CycleBench& operator=(const CycleBench&) = delete;

  // ---- the world's side ----
  void gauge_comes(bool clear = true, std::uint32_t gauge = 0) {
    base::GaugeIdentity identity;
    identity.kind = "link";
    identity.serial_number = "S";
    send(GaugeCame{.identity = identity, .stylus_clear = clear, .gauge = gauge});
  }
  void plc(const base::PlcInputs& inputs) {
    plc_ = inputs;
    plc_.heartbeat = ++heartbeat_;
    send(PlcChanged{plc_});
  }
  template <class Change>
  void plc_changes(Change change) {
    base::PlcInputs inputs = plc_;
    change(inputs);
    plc(inputs);
  }
  void pass_ms(std::int64_t ms, bool plc_beats = true) {
    for (std::int64_t passed = 0; passed < ms; passed += kTickMs) {
      now_.monotonic.ns += kTickMs * base::kNsPerMs;
      now_.utc.unix_ns += kTickMs * base::kNsPerMs;
      if (plc_beats) {
        plc(plc_);
      } else {
        send(Ticked{});
      }
      send(Ticked{});
    }
  }
  // Time in which nothing happens here at all, as for a process that is stopped.
  void skip_ms(std::int64_t ms) { now_.monotonic.ns += ms * base::kNsPerMs; }
  void request(const std::string& part, std::uint16_t id = 1) {
    base::PlcInputs inputs;
    inputs.request_id = id;
    inputs.recipe = 12;
    inputs.part_present = true;
    inputs.identity.part_id = part;
    inputs.identity.stage = 2;
    inputs.acknowledge = plc_.acknowledge;
    plc(inputs);
  }
  void zone(std::uint16_t k) {
    plc_changes([&](base::PlcInputs& inputs) { inputs.zone_in_position = k; });
  }
  void traverse_comes() {
    const auto action = take<StartTraverse>();
    base::Heights heights{.spacing_mm = 0.0005,
                          .height_step_um = 0.001,
                          .speed_mm_per_s = 1,
                          .quality = 0,
                          .counts = {1, 2, ++height_}};
    send(TraverseCame{.ticket = action.ticket,
                      .heights = heights,
                      .started_utc = {},
                      .started_monotonic = {},
                      .finished_monotonic = {}});
  }
  void ledger_takes_traverse() {
    const auto action = take<RecordTraverse>();
    send(TraverseRecorded{.ticket = action.ticket, .receipt = {.number = ++number_, .digest = {}}});
  }
  void stylus_clears() {
    const auto action = take<RetractStylus>();
    send(StylusWent{.clear = true, .reason = base::Reason::kNone, .detail = "", .gauge = action.gauge});
  }
  void analysis_says(base::Verdict verdict, base::Reason reason) {
    const auto action = take<JudgePart>();
    send(PartJudged{.ticket = action.ticket, .decision = decision(verdict, reason)});
  }
  void ledger_takes_judgement() {
    const auto action = take<RecordJudgement>();
    recorded_.push_back(action.judgement);
    send(JudgementRecorded{.ticket = action.ticket, .receipt = {.number = ++number_, .digest = {}}});
  }
  // A whole part from its request to the shown result.
  void measure(const std::string& part, base::Verdict verdict, std::uint16_t id = 1) {
    request(part, id);
    to_the_last_traverse();
    ledger_takes_traverse();
    analysis_says(verdict, verdict == base::Verdict::kAccept ? base::Reason::kAllWithinLimits
                                                             : base::Reason::kAboveUpperLimit);
    ledger_takes_judgement();
    stylus_clears();
  }
  // From a standing request up to the arrival of the last traverse (not yet recorded).
  void to_the_last_traverse() {
    zone(1);
    traverse_comes();
    traverse_comes();
    ledger_takes_traverse();
    ledger_takes_traverse();
    stylus_clears();
    zone(0);
    zone(2);
    traverse_comes();
  }

  static analysis::PartDecision decision(base::Verdict verdict, base::Reason reason) {
    analysis::PartDecision made;
    made.verdict = verdict;
    made.reason = reason;
    made.detail = "Ra 0.30 um on crest A";
    made.results.push_back({.zone = "crest A",
                            .symbol = "Ra",
                            .unit = "um",
                            .values = {0.3},
                            .decided = 0.3,
                            .lower = {},
                            .upper = 0.4,
                            .rule = base::AcceptanceRule::kMaximum,
                            .verdict = verdict,
                            .reason = reason});
    made.deciding = 0;
    return made;
  }

  // ---- looking ----
  template <class Event>
  void send(Event event) {
    for (auto& action : cycle_->handle(std::move(event), now_)) actions_.push_back(std::move(action));
  }
  // The oldest waiting action of a kind; there must be one.
  template <class Action>
  Action take() {
    for (std::size_t i = 0; i < actions_.size(); ++i) {
      if (auto* found = std::get_if<Action>(&actions_[i])) {
        Action action = std::move(*found);
        actions_.erase(actions_.begin() + static_cast<std::ptrdiff_t>(i));
        return action;
      }
    }
    throw std::runtime_error("the cycle did not ask for this action");
  }
  template <class Action>
  [[nodiscard]] bool asks() const {
    for (const auto& action : actions_) {
      if (std::holds_alternative<Action>(action)) return true;
    }
    return false;
  }
  [[nodiscard]] base::CellSignal signal() const { return cycle_->signal(now_.monotonic); }
  [[nodiscard]] Phase phase() const { return cycle_->phase(); }
  [[nodiscard]] const std::vector<base::Judgement>& recorded() const { return recorded_; }
  [[nodiscard]] const base::PlcInputs& inputs() const { return plc_; }
  [[nodiscard]] const Cycle& cycle() const { return *cycle_; }
  // What the events that were asked for are called, in order.
  [[nodiscard]] std::vector<std::string> noted() const {
    std::vector<std::string> names;
    for (const auto& action : actions_) {
      if (const auto* event = std::get_if<RecordEvent>(&action)) names.push_back(event->event.what);
    }
    return names;
  }

 private:
  CellDescription cell_;
  Now now_{.utc = {.unix_ns = 1'700'000'000'000'000'000}, .monotonic = {.ns = 1'000'000'000}};
  std::unique_ptr<Cycle> cycle_;
  std::vector<CycleAction> actions_;
  std::vector<base::Judgement> recorded_;
  base::PlcInputs plc_;
  std::uint16_t heartbeat_ = 0;
  std::int32_t height_ = 0;
  std::uint64_t number_ = 10;
};

}  // namespace crestgate::cell
