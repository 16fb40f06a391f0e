// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the cell does when a step of the handshake comes late, twice, against another one, or not at all. The page for
// the cabinet is printed from this table; each row names the test that proves it. The cycle behind it is described in
// daemon/cell/CYCLE.md.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "base/reason.h"

namespace crestgate::report {

enum class LineStep : std::uint8_t {
  kRequest,
  kPartPresent,
  kIdentity,
  kRecipe,
  kStage,
  kZoneInPosition,
  kStylusClear,
  kResult,
  kAbort,
  kPlcHeartbeat,
  kCellHeartbeat,
  kManualTrigger,
  kBypass,
  kRelease,
  kPlanChange,
  kSampling,
  kConnection,
};

enum class StepFaultKind : std::uint8_t { kLate, kRepeated, kContradictory, kMissing };

struct StepFault {
  LineStep step;
  StepFaultKind kind;
  std::string_view when;
  std::string_view cell_does;
  base::Reason reason;       // kNone: no code
  std::string_view test_id;  // unique
};

namespace step_fault_rows {
using enum LineStep;
using enum StepFaultKind;

inline constexpr std::array kRows = {
    // ---- request ----
    StepFault{kRequest, kLate, "long after the part lay there",
              "Nothing is measured until then. Identity is latched at the request, not before.",
              base::Reason::kNone, "request_late"},
    StepFault{kRequest, kRepeated, "the same number stands on or is written again",
              "Nothing: one number, one measurement. The result stays.", base::Reason::kNone,
              "request_repeated"},
    StepFault{kRequest, kRepeated, "the cell restarted while it stood",
              "Nothing is begun, nothing is shown: back to 0, then ask. That is another attempt.",
              base::Reason::kNone, "request_stands_over_restart"},
    StepFault{kRequest, kContradictory, "another number during a measurement",
              "None for the part in work. Do not count on the new number: back to 0, then ask.",
              base::Reason::kRequestWhileBusy, "request_while_busy"},
    StepFault{kRequest, kMissing, "back to 0 before the result", "None; the stylus is raised.",
              base::Reason::kAborted, "request_dropped"},
    StepFault{kRequest, kMissing, "back to 0 while the judgement is written",
              "The judgement stands in the ledger and is not shown.", base::Reason::kAborted,
              "request_dropped_while_recording"},
    // ---- part present ----
    StepFault{kPartPresent, kLate, "after the request, or not at all", "None at once.",
              base::Reason::kPartLeft, "part_late"},
    StepFault{kPartPresent, kRepeated, "falls and rises again under a result",
              "Green is off and stays off; a new request is needed.", base::Reason::kNone, "part_bounced"},
    StepFault{kPartPresent, kContradictory, "falls during a measurement", "None; the stylus is raised.",
              base::Reason::kPartLeft, "part_left"},
    StepFault{kPartPresent, kMissing, "falls while the judgement is written",
              "The judgement stands in the ledger and is not shown.", base::Reason::kPartLeft,
              "part_left_while_recording"},
    // ---- identity ----
    StepFault{kIdentity, kLate, "part_id is written after the request", "None.",
              base::Reason::kIdentityChanged, "identity_late"},
    StepFault{kIdentity, kRepeated, "the same part once more",
              "Another attempt; it adds to the evidence. One too many: none, fate quarantine.",
              base::Reason::kAttemptsExhausted, "identity_repeated"},
    StepFault{kIdentity, kContradictory, "part_id changes while its request stands",
              "None; under a verdict: withdrawn, green off.", base::Reason::kIdentityChanged,
              "identity_changed"},
    StepFault{kIdentity, kContradictory, "PLC and scanner name different parts", "None.",
              base::Reason::kIdentityContradicts, "identity_contradicts"},
    StepFault{kIdentity, kContradictory, "attempt is lower than the cell's own count",
              "The cell's count holds; warning bit 6.", base::Reason::kNone, "attempt_contradicts"},
    StepFault{kIdentity, kMissing, "no part_id, and the plan requires one", "None.",
              base::Reason::kPartIdMissing, "identity_missing"},
    StepFault{kIdentity, kMissing, "batch, machine, spindle, wheel or dress_count is 0 or empty",
              "Recorded as unknown; nothing is carried over from the part before.", base::Reason::kNone,
              "history_missing"},
    // ---- recipe ----
    StepFault{kRecipe, kLate, "is written after the request",
              "None: what stands at the request counts, and a change ends it.", base::Reason::kPlanChanged,
              "recipe_late"},
    StepFault{kRecipe, kContradictory, "changes while its request stands",
              "None; changing it back does not help.", base::Reason::kPlanChanged, "recipe_changed"},
    StepFault{kRecipe, kMissing, "is 0, or no plan has it", "None, fate quarantine.",
              base::Reason::kUnknownRecipe, "recipe_unknown"},
    // ---- stage ----
    StepFault{kStage, kLate, "is written after the request", "None.", base::Reason::kPlanChanged,
              "stage_late"},
    StepFault{kStage, kContradictory, "is not the plan's", "None at once.",
              base::Reason::kStageContradictsPlan, "stage_contradicts"},
    StepFault{kStage, kContradictory, "changes while its request stands", "None.", base::Reason::kPlanChanged,
              "stage_changed"},
    StepFault{kStage, kMissing, "is 0", "Measured by the recipe's plan; recorded as unknown.",
              base::Reason::kNone, "stage_missing"},
    // ---- zone in position ----
    StepFault{kZoneInPosition, kLate, "not within the zone timeout, or never", "None.",
              base::Reason::kZoneNotInPosition, "zone_late"},
    StepFault{kZoneInPosition, kRepeated, "still names the zone that is done",
              "The cell waits for the one it wants, up to the zone timeout.",
              base::Reason::kZoneNotInPosition, "zone_repeated"},
    StepFault{kZoneInPosition, kContradictory, "names another zone than the one wanted",
              "No traverse; the cell waits, up to the zone timeout.", base::Reason::kZoneNotInPosition,
              "zone_wrong"},
    StepFault{kZoneInPosition, kMissing, "changes or falls to 0 during a traverse",
              "The traverse is aborted, the stylus raised; none.", base::Reason::kZoneNotInPosition,
              "zone_lost"},
    // ---- stylus clear ----
    StepFault{kStylusClear, kLate, "is not set yet between two zones", "zone_wanted stays 0 until it is.",
              base::Reason::kNone, "stylus_clear_late"},
    StepFault{kStylusClear, kLate, "is not set yet when the next request comes",
              "state measuring; the request waits and starts when it is.", base::Reason::kStylusNotClear,
              "stylus_clear_late_idle"},
    StepFault{kStylusClear, kContradictory, "the gauge says unasked that its stylus is down",
              "The bit falls, the stylus is raised.", base::Reason::kStylusNotClear, "stylus_seen_down"},
    StepFault{kStylusClear, kContradictory, "several gauges disagree",
              "The bit is set only if every one of them is clear.", base::Reason::kNone, "stylus_of_several"},
    StepFault{kStylusClear, kMissing, "the stylus does not come up",
              "Asked again and again; requests wait; state fault.", base::Reason::kGaugeFault,
              "stylus_stays_down"},
    StepFault{kStylusClear, kMissing, "the gauge went offline",
              "The bit is off: nobody knows where the stylus is. None with the gauge's reason for the part "
              "in work.",
              base::Reason::kGaugeDisconnected, "stylus_unknown"},
    // ---- result and acknowledge ----
    StepFault{kResult, kLate, "the part is not taken away",
              "Withdrawn when the green limit is up; green off.", base::Reason::kResultExpired,
              "result_expired"},
    StepFault{kResult, kLate, "the ledger does not confirm in time",
              "None is shown at once; an accept that comes late is not.", base::Reason::kLedgerSlow,
              "result_unrecorded"},
    StepFault{kResult, kRepeated, "the same acknowledge again", "Nothing.", base::Reason::kNone,
              "acknowledge_repeated"},
    StepFault{kResult, kContradictory, "acknowledge with another number",
              "Does not count; the right one must still come in time.", base::Reason::kNotAcknowledged,
              "acknowledge_wrong"},
    StepFault{kResult, kContradictory, "sequence_first and sequence_last differ",
              "A read in the middle of a change: the PLC reads again.", base::Reason::kNone, "result_torn"},
    StepFault{kResult, kMissing, "no acknowledge in time",
              "Withdrawn, green off, warning bit 5. last_verdict keeps it.", base::Reason::kNotAcknowledged,
              "acknowledge_missing"},
    // ---- abort ----
    StepFault{kAbort, kLate, "under accept or reject", "Withdrawn, green off; it stays in the ledger.",
              base::Reason::kAborted, "abort_late"},
    StepFault{kAbort, kRepeated, "the bit stays set", "Each request is answered none until it falls.",
              base::Reason::kAborted, "abort_stands"},
    StepFault{kAbort, kContradictory, "in the same write as a new request", "None; no traverse is begun.",
              base::Reason::kAborted, "abort_with_request"},
    StepFault{kAbort, kMissing, "the same part is asked for again",
              "It goes on at the traverse where it was stopped, as the same attempt, within the resume limit "
              "and if part present never fell.",
              base::Reason::kNone, "abort_resumed"},
    // ---- heartbeat of the PLC ----
    StepFault{kPlcHeartbeat, kLate, "unchanged for its timeout during a measurement",
              "None; the stylus is raised; warning bit 3.", base::Reason::kPlcSilent, "plc_silent_measuring"},
    StepFault{kPlcHeartbeat, kLate, "unchanged for its timeout under a result",
              "Withdrawn, green off; not shown again when it beats again.", base::Reason::kPlcSilent,
              "plc_silent_result"},
    StepFault{kPlcHeartbeat, kRepeated, "the same value is written again",
              "Counts as silence: only a change is a beat.", base::Reason::kPlcSilent,
              "plc_heartbeat_repeated"},
    StepFault{kPlcHeartbeat, kContradictory, "beats while the PLC's program stands still",
              "The cell cannot see it: move it in the program, not in the driver.", base::Reason::kNone,
              "plc_heartbeat_alone"},
    StepFault{kPlcHeartbeat, kMissing, "never came",
              "state fault. What stands in its first word asks for nothing: back to 0, then ask.",
              base::Reason::kPlcSilent, "plc_heartbeat_missing"},
    // ---- heartbeat of the cell ----
    StepFault{kCellHeartbeat, kLate, "unchanged for 2 s",
              "The PLC: not accepted, stylus clear counts as off, call somebody.", base::Reason::kNone,
              "cell_silent"},
    StepFault{kCellHeartbeat, kRepeated, "the same value in two polls",
              "Nothing, within 2 s: it moves every 200 ms.", base::Reason::kNone, "cell_heartbeat_repeated"},
    StepFault{kCellHeartbeat, kContradictory, "moves, the cell is ready and request_echo is not ours",
              "The PLC: the cell forgot the request (a restart). Back to 0, then ask again.",
              base::Reason::kNone, "cell_restarted"},
    StepFault{kCellHeartbeat, kMissing, "the connection is closed, or all reads 0",
              "The PLC: not accepted, nothing moves; connect again.", base::Reason::kNone, "cell_gone"},
    // ---- manual trigger ----
    StepFault{kManualTrigger, kLate, "during a measurement",
              "Refused: warning bit 6. The measurement goes on.", base::Reason::kNone, "trigger_while_busy"},
    StepFault{kManualTrigger, kRepeated, "the bit stays set", "One rising edge, one measurement.",
              base::Reason::kNone, "trigger_stands"},
    StepFault{kManualTrigger, kContradictory, "while a request stands",
              "Refused: warning bit 6. The request counts.", base::Reason::kNone, "trigger_with_request"},
    StepFault{kManualTrigger, kMissing, "no part present", "Refused: warning bit 6.", base::Reason::kNone,
              "trigger_without_part"},
    StepFault{kManualTrigger, kMissing, "no request to echo",
              "Measured as if asked; request_echo is 0: take the verdict by its sequence.",
              base::Reason::kNone, "trigger_echo"},
    // ---- bypass ----
    StepFault{kBypass, kLate, "during a measurement", "Refused: warning bit 6. Set it anew after the result.",
              base::Reason::kNone, "bypass_while_busy"},
    StepFault{kBypass, kRepeated, "the bit stays set beyond its minutes",
              "The bypass ends at its time; only a new rising edge begins another.", base::Reason::kNone,
              "bypass_stands"},
    StepFault{kBypass, kContradictory, "a request during the bypass",
              "None at once with the fate that the cell gives, never green.", base::Reason::kBypassed,
              "bypass_request"},
    StepFault{kBypass, kMissing, "no operator, or bypass_minutes is 0", "Refused: warning bit 6.",
              base::Reason::kNone, "bypass_anonymous"},
    StepFault{kBypass, kMissing, "the bit falls before its time",
              "The bypass ends; parts are measured again.", base::Reason::kNone, "bypass_ended"},
    // ---- release ----
    StepFault{kRelease, kMissing, "nothing is on hold", "Refused: warning bit 6.", base::Reason::kNone,
              "release_of_nothing"},
    // ---- change-over ----
    StepFault{kPlanChange, kLate, "recipe or stage follow after the request",
              "None for that part; the next request has the new plan.", base::Reason::kPlanChanged,
              "change_late"},
    StepFault{kPlanChange, kRepeated, "there and back while a request stands", "None all the same.",
              base::Reason::kPlanChanged, "change_and_back"},
    StepFault{kPlanChange, kContradictory, "new recipe with the old stage", "None.",
              base::Reason::kStageContradictsPlan, "change_half"},
    StepFault{kPlanChange, kMissing, "other parts, the old recipe",
              "Measured by the old plan; none where the face shows that it is another part. Write recipe "
              "with each request.",
              base::Reason::kNotThisPart, "change_missing"},
    // ---- sampling ----
    StepFault{kSampling, kMissing, "the plan passes over this part",
              "None at once; fate pass unmeasured or quarantine; lamp dark, \"not measured\".",
              base::Reason::kNotSampled, "not_sampled"},
    // ---- connection ----
    StepFault{kConnection, kContradictory, "another address writes",
              "Refused with exception 6, warning bit 7. The PLC that holds the line goes on.",
              base::Reason::kNone, "other_plc"},
    StepFault{kConnection, kMissing, "the PLC's connection breaks off", "As a silent heartbeat.",
              base::Reason::kPlcSilent, "connection_lost"},
};
}  // namespace step_fault_rows

inline constexpr const auto& kStepFaults = step_fault_rows::kRows;

constexpr std::string_view name_of(LineStep step) {
  constexpr std::array<std::string_view, 17> kNames = {"request",
                                                       "part present",
                                                       "identity",
                                                       "recipe",
                                                       "stage",
                                                       "zone in position",
                                                       "stylus clear",
                                                       "result, acknowledge",
                                                       "abort",
                                                       "heartbeat of the PLC",
                                                       "heartbeat of the cell",
                                                       "manual trigger",
                                                       "bypass",
                                                       "release",
                                                       "plan change-over",
                                                       "sampling",
                                                       "connection"};
  return kNames[static_cast<std::size_t>(step)];
}

constexpr std::string_view name_of(StepFaultKind kind) {
  constexpr std::array<std::string_view, 4> kNames = {"late", "repeated", "contradictory", "missing"};
  return kNames[static_cast<std::size_t>(kind)];
}

// Grouped by step in the order of the enumeration, none left out, and no test named twice.
constexpr bool step_faults_are_sound() {
  std::size_t step = 0;
  for (std::size_t i = 0; i < kStepFaults.size(); ++i) {
    const auto here = static_cast<std::size_t>(kStepFaults[i].step);
    if (here != step && here != step + 1) return false;
    step = here;
    for (std::size_t j = 0; j < i; ++j) {
      if (kStepFaults[i].test_id == kStepFaults[j].test_id) return false;
    }
  }
  return kStepFaults.front().step == LineStep::kRequest && kStepFaults.back().step == LineStep::kConnection;
}
static_assert(step_faults_are_sound());

}  // namespace crestgate::report
