// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the person who has to act does first, for every reason; and the headings under which the codes stand.
// The reasons themselves, their sentences and who acts are those of base/reason.h.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "base/reason.h"

namespace crestgate::report {

struct ReasonAction {
  base::Reason reason;
  std::string_view first;  // one or two short sentences, for the person named by the reason's actor
};

constexpr std::size_t kLongestAction = 110;  // two lines of the card

inline constexpr std::array kReasonActions = {
    ReasonAction{base::Reason::kNone, "Nothing to do."},
    ReasonAction{base::Reason::kAllWithinLimits, "Pass the part on while the light is on."},
    ReasonAction{base::Reason::kAboveUpperLimit,
                 "Send the part where its fate says. See value and zone, then wheel dress and finishing."},
    ReasonAction{base::Reason::kBelowLowerLimit,
                 "Send the part where its fate says. See value and zone, then finishing time and pressure."},
    ReasonAction{base::Reason::kGaugeSilent,
                 "Look at the gauge's cable and power; plug it in again; the cell comes back by itself."},
    ReasonAction{base::Reason::kGaugeStopped,
                 "See that nothing holds the drive or the stylus; check the cable; measure the part again."},
    ReasonAction{base::Reason::kGaugeDisconnected,
                 "Plug the gauge's cable in at both ends; the cell comes back by itself."},
    ReasonAction{base::Reason::kGaugeLinkDamaged,
                 "Lay the cable away from motors and drives, tighten its plugs; else replace it."},
    ReasonAction{base::Reason::kGaugeRestarted,
                 "Look at the gauge's power plug and supply: it lost power. Measure the part again."},
    ReasonAction{base::Reason::kGaugeRefused,
                 "Compare length, spacing and speed in the plan with what the gauge can do."},
    ReasonAction{base::Reason::kGaugeFault,
                 "Read the fault on the gauge and clear it there; see that the stylus can rise freely."},
    ReasonAction{base::Reason::kGaugeWrongIdentity,
                 "Put the cell's own gauge back, or enter the new serial number in the cell's description."},
    ReasonAction{base::Reason::kGaugeUnproved,
                 "Clean the reference specimen, lay it on the bench and make the reference check."},
    ReasonAction{base::Reason::kGaugeProtocol,
                 "Fit the gauge that was here, or bring gauge and cell to the same version of the link."},
    ReasonAction{base::Reason::kStylusNotClear,
                 "Wait, and do not move the part: the stylus is being raised. If it stays: see 207."},
    ReasonAction{base::Reason::kGaugeStale,
                 "Switch the gauge off and on. If the code comes back, change the gauge."},
    ReasonAction{base::Reason::kTraceTooShort,
                 "Lengthen the traverse in the plan, or choose fewer or shorter sections."},
    ReasonAction{base::Reason::kTraceMissingSamples,
                 "Look at the gauge's cable and plugs; measure again. If it comes often, change the cable."},
    ReasonAction{
        base::Reason::kTraceOverRange,
        "Wipe fixture and face, seat the part, measure again. Again 303: have the pickup's height set."},
    ReasonAction{base::Reason::kTraceWrongSpacing,
                 "Compare the plan's spacing with the gauge's own settings; correct the gauge."},
    ReasonAction{base::Reason::kTraceNotFinite,
                 "Switch the gauge off and on; measure again. If the code comes back, change the gauge."},
    ReasonAction{base::Reason::kTooFewValues,
                 "Ask for more traverses or sections in the plan, or for another rule."},
    ReasonAction{base::Reason::kParameterUndefined,
                 "Look at the stored trace; limit a parameter that exists on such a surface."},
    ReasonAction{base::Reason::kStylusLifted,
                 "Wipe the face and look at the stylus tip; seat the part; measure again."},
    ReasonAction{base::Reason::kSpeedUnsteady,
                 "Clean the drive's guide; feel for stiffness or play; measure again."},
    ReasonAction{base::Reason::kVibration,
                 "Keep off the bench, stop what shakes it (hammering, compressor, traffic); measure again."},
    ReasonAction{
        base::Reason::kStylusStuck,
        "With the drive at rest: the stylus must swing freely and its height follow. Else change it."},
    ReasonAction{base::Reason::kValueUncertain,
                 "Read the doubt that is named, look at the trace; correct cut-off, length or limit."},
    ReasonAction{base::Reason::kPickupSkidded,
                 "Fit a pickup without a skid, or take the limits on waves and form out of the plan."},
    ReasonAction{base::Reason::kAborted,
                 "Ask again when ready. A part left in place goes on where it was stopped."},
    ReasonAction{base::Reason::kPlcSilent,
                 "See that the PLC runs and its network cable is in; its program must move plc_heartbeat."},
    ReasonAction{base::Reason::kPartLeft,
                 "Put the part back and ask again. Take a part out only after its verdict."},
    ReasonAction{base::Reason::kUnknownRecipe,
                 "Compare the PLC's recipe number with the cell's list; correct it, or add the plan."},
    ReasonAction{base::Reason::kPartIdMissing, "Scan or enter the part's number, then ask again."},
    ReasonAction{base::Reason::kRequestWhileBusy,
                 "Correct the PLC program: one request at a time, back to 0 before the next."},
    ReasonAction{base::Reason::kStageContradictsPlan,
                 "See whether the part is at the right bench; else correct stage or recipe in the PLC."},
    ReasonAction{base::Reason::kAttemptsExhausted,
                 "Put the part into quarantine, do not measure it again. Tell the process engineer."},
    ReasonAction{base::Reason::kZoneNotInPosition,
                 "See what holds the fixture: drive, end switch, a jam. Compare zone_wanted with its place."},
    ReasonAction{base::Reason::kNotAcknowledged,
                 "See why the PLC did not take the result: it writes the sequence number to acknowledge."},
    ReasonAction{base::Reason::kResultExpired,
                 "The part stood too long. If it still needs a verdict, ask again: that is another attempt."},
    ReasonAction{base::Reason::kIdentityChanged,
                 "Correct the PLC program: part_id stays as it is from the request to the result."},
    ReasonAction{base::Reason::kNotThisPart,
                 "See that the right part lies the right way round and that the recipe is its own."},
    ReasonAction{
        base::Reason::kIdentityContradicts,
        "Read the number on the part; correct the source that is wrong (scanner or PLC); ask again."},
    ReasonAction{base::Reason::kLedgerWriteFailed,
                 "Look at the ledger's disk and its mount; the cell goes on by itself when it can write."},
    ReasonAction{base::Reason::kLedgerSlow,
                 "Find what keeps the disk busy (copies, a failing disk); the cell goes on by itself."},
    ReasonAction{base::Reason::kLedgerNoSpace,
                 "Make room on that disk, never by deleting the ledger; the cell goes on by itself."},
    ReasonAction{base::Reason::kStarting, "Wait until the cell is ready."},
    ReasonAction{base::Reason::kStopping, "Wait, or start the cell again."},
    ReasonAction{base::Reason::kInternalError,
                 "Ask once more. If the code comes back, keep log and ledger and report it."},
    ReasonAction{
        base::Reason::kBypassed,
        "Keep these parts apart or marked, as the site's rule says. End the bypass when the gauge is well."},
    ReasonAction{base::Reason::kPlanChanged,
                 "See that recipe and stage are this part's own, then ask again."},
    ReasonAction{base::Reason::kNotSampled,
                 "Pass the part on as its fate says. It counts as not measured, never as accepted."},
};

// The codes by hundreds, with a heading in words. Code 0 stands with the surface's.
struct ReasonGroup {
  std::uint16_t first;
  std::uint16_t last;
  std::string_view heading;
};

inline constexpr std::array kReasonGroups = {
    ReasonGroup{0, 199, "The surface of the part"},  ReasonGroup{200, 299, "The gauge and its cable"},
    ReasonGroup{300, 399, "The trace it brought"},   ReasonGroup{400, 499, "The line: PLC, part, identity"},
    ReasonGroup{500, 599, "The ledger on its disk"}, ReasonGroup{600, 699, "The cell itself"},
};

constexpr std::string_view action_of(base::Reason reason) {
  for (const ReasonAction& action : kReasonActions) {
    if (action.reason == reason) return action.first;
  }
  return {};
}

// Every reason has one action and one heading, in the order of the codes.
constexpr bool actions_are_complete() {
  if (kReasonActions.size() != base::kReasonTexts.size()) return false;
  for (std::size_t i = 0; i < kReasonActions.size(); ++i) {
    const ReasonAction& action = kReasonActions[i];
    if (action.reason != base::kReasonTexts[i].reason) return false;
    if (action.first.empty() || action.first.size() > kLongestAction) return false;
    const auto code = static_cast<std::uint16_t>(action.reason);
    int headings = 0;
    for (const ReasonGroup& group : kReasonGroups)
      headings += group.first <= code && code <= group.last ? 1 : 0;
    if (headings != 1) return false;
  }
  return true;
}
static_assert(actions_are_complete(), "each reason in base/reason.h needs an action and a heading here");

}  // namespace crestgate::report
