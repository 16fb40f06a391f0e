// SPDX-License-Identifier: Apache-2.0
// What people ask for: a part's name from a scanner, a measurement by hand, a bypass, other plans.

#include <array>
#include <utility>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle/phase_time.h"

namespace crestgate::cell {
namespace {

using base::Reason;

constexpr std::int64_t kAnnouncementLimitMs = 120'000;  // longer ago, and nobody knows which part was meant
constexpr std::int64_t kMinuteMs = 60'000;

// Takes `said` into `known` where that is unknown; returns false when both know and differ.
template <class Value>
bool take_over(std::optional<Value>& known, const std::optional<Value>& said) {
  if (!said) return true;
  if (!known) known = said;
  return *known == *said;
}

}  // namespace

// ---- identity ----

// A name counts for the part on the bench, or for the next one to come: never for one that was judged already.
void Cycle::on(const PartAnnounced& event) {
  if (phase_ != Phase::kIdle) {
    refuse_name(event, "another part was in work, or its result stood");
    return;
  }
  const bool other = announced_ && announced_->said.identity != event.identity;
  if (other) refuse_name(announced_->said, "another name came before its part");
  announced_ = Announced{.said = event, .at = now_.monotonic, .used = false};
}

void Cycle::refuse_name(const PartAnnounced& event, const std::string& why) {
  warnings_ |= base::kWarnRequestRefused;
  note("part_name_refused", Reason::kNone,
       event.source + " named " + event.identity.part_id.value_or("a part without an id") + ": " + why);
}

// What was said of a part leaves with it.
void Cycle::part_left() {
  if (!announced_) return;
  if (!announced_->used) refuse_name(announced_->said, "the part that lay there left unmeasured");
  announced_.reset();
}

// Returns what contradicts, in words. The name stays with its part as long as that lies there.
std::optional<std::string> Cycle::merge_announced() {
  if (!announced_) return std::nullopt;
  const bool old = !announced_->used && elapsed_ms(announced_->at, now_.monotonic) > kAnnouncementLimitMs;
  if (old) {
    announced_.reset();
    return std::nullopt;
  }
  announced_->used = true;
  base::PartIdentity& identity = work_.latched.identity;
  const base::PartIdentity& said = announced_->said.identity;
  const std::array<std::pair<const char*, bool>, 7> fields = {{
      {"part id", take_over(identity.part_id, said.part_id)},
      {"batch", take_over(identity.batch, said.batch)},
      {"machine", take_over(identity.machine, said.machine)},
      {"stage", take_over(identity.stage, said.stage)},
      {"spindle", take_over(identity.spindle, said.spindle)},
      {"wheel", take_over(identity.wheel, said.wheel)},
      {"dress count", take_over(identity.dress_count, said.dress_count)},
  }};
  for (const auto& [name, agrees] : fields) {
    if (!agrees)
      return "the " + std::string(name) + " of the PLC and of " + announced_->said.source + " differ";
  }
  return std::nullopt;
}

// ---- by hand ----

std::optional<std::string> Cycle::refusal(const MeasureAsked& event) const {
  if (stopping_) return "the cell is stopping";
  if (phase_ != Phase::kIdle) return "a part is in work, or its result stands";
  if (plc_.request_id != 0) return "a request of the PLC stands";
  if (event.at_the_bench) {
    if (auto refused = refusal_by_hand()) return refused;
  }
  if (!event.at_the_bench && !part_present()) return "no part is present";
  const Reason blocked = blocked_by();
  if (blocked != Reason::kNone) return std::string(base::text_of(blocked).sentence);
  return std::nullopt;
}

void Cycle::on(const MeasureAsked& event) {
  if (refusal(event)) {
    warnings_ |= base::kWarnRequestRefused;
    return;
  }
  begin_by_hand(event);
}

void Cycle::on(const ZonePlaced& event) { zone_by_hand_ = event.zone; }

void Cycle::on(const PartTakenAway& /*event*/) {
  present_by_hand_ = false;
  zone_by_hand_ = 0;
  announced_.reset();
  forget_resumable();
}

std::optional<std::string> Cycle::refusal_by_hand() const {
  if (!cell_->plc.heartbeat_required) return std::nullopt;
  return "a PLC watches this bench: it says what lies there and where (plc.heartbeat = \"required\")";
}

// ---- bypass ----

std::optional<std::string> Cycle::refusal(const BypassAsked& event) const {
  if (stopping_) return "the cell is stopping";
  if (!cell_->bypass.allowed) return "this cell allows no bypass: its description has no [bypass]";
  if (event.who.empty()) return "a bypass needs the name of who asks for it";
  if (event.minutes == 0 || event.minutes > cell_->bypass.longest_minutes) {
    return "a bypass lasts 1 to " + std::to_string(cell_->bypass.longest_minutes) + " minutes, " +
           std::to_string(event.minutes) + " were asked for";
  }
  if (phase_ != Phase::kIdle) return "a part is in work, or its result stands";
  if (bypass_) return "a bypass by " + bypass_->who + " runs already";
  return std::nullopt;
}

void Cycle::on(const BypassAsked& event) { begin_bypass(event, false); }

void Cycle::begin_bypass(const BypassAsked& event, bool held_by_plc) {
  if (const auto refused = refusal(event)) {
    warnings_ |= base::kWarnRequestRefused;
    note("bypass_refused", Reason::kBypassed, *refused);
    return;
  }
  const std::int64_t length_ns = event.minutes * kMinuteMs * base::kNsPerMs;
  bypass_ = Bypass{.who = event.who,
                   .until_utc = {now_.utc.unix_ns + length_ns},
                   .until = {now_.monotonic.ns + length_ns},
                   .held_by_plc = held_by_plc};
  note("bypass_began", Reason::kBypassed,
       "by " + event.who + " for " + std::to_string(event.minutes) + " minutes");
}

void Cycle::on(const BypassEnded& event) {
  if (bypass_) end_bypass("by " + event.who);
}

void Cycle::end_bypass(const std::string& why) {
  note("bypass_ended", Reason::kBypassed, why + "; it was begun by " + bypass_->who);
  bypass_.reset();
}

void Cycle::step_bypass() {
  if (bypass_ && now_.monotonic.ns >= bypass_->until.ns) end_bypass("its time was up");
}

// ---- other plans ----

void Cycle::on(PlansOffered& event) { offered_ = std::move(event); }

void Cycle::adopt_plans() {
  if (!offered_) return;
  adopted_ = std::move(offered_->cell);
  cell_ = adopted_.get();
  receipts_ = std::move(offered_->receipts);
  offered_.reset();
  forget_resumable();  // it was begun under the plans before
  work_ = {};          // its plan is an index into what was before
  if (bypass_ && !cell_->bypass.allowed) end_bypass("the description taken up allows none");
  std::string names;
  for (const RecipePlan& entry : cell_->plans) names += (names.empty() ? "" : ", ") + entry.plan.name;
  note("plans_adopted", Reason::kNone, names);
  actions_.emplace_back(PlansAdopted{adopted_});
}

}  // namespace crestgate::cell
