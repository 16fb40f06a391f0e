// SPDX-License-Identifier: Apache-2.0
#pragma once
// Reason codes: numbered once, never renumbered, never reused. The PLC reads the number, people read the
// text.

#include <array>
#include <cstdint>
#include <string_view>

namespace crestgate::base {

enum class Reason : std::uint16_t {
  kNone = 0,
  // 1xx the surface
  kAllWithinLimits = 100,
  kAboveUpperLimit = 101,
  kBelowLowerLimit = 102,
  // 2xx the gauge and its link
  kGaugeSilent = 201,
  kGaugeStopped = 202,
  kGaugeDisconnected = 203,
  kGaugeLinkDamaged = 204,
  kGaugeRestarted = 205,
  kGaugeRefused = 206,
  kGaugeFault = 207,
  kGaugeWrongIdentity = 208,
  kGaugeUnproved = 209,
  kGaugeProtocol = 210,
  kStylusNotClear = 211,
  kGaugeStale = 212,
  // 3xx the trace
  kTraceTooShort = 301,
  kTraceMissingSamples = 302,
  kTraceOverRange = 303,
  kTraceWrongSpacing = 304,
  kTraceNotFinite = 305,
  kTooFewValues = 306,
  kParameterUndefined = 307,
  kStylusLifted = 308,
  kSpeedUnsteady = 309,
  kVibration = 310,
  kStylusStuck = 311,
  kValueUncertain = 312,
  kPickupSkidded = 313,
  // 4xx the line (PLC, handshake, identity)
  kAborted = 401,
  kPlcSilent = 402,
  kPartLeft = 403,
  kUnknownRecipe = 404,
  kPartIdMissing = 405,
  kRequestWhileBusy = 406,
  kStageContradictsPlan = 407,
  kAttemptsExhausted = 408,
  kZoneNotInPosition = 409,
  kNotAcknowledged = 410,
  kResultExpired = 411,
  kIdentityChanged = 412,
  kNotThisPart = 413,
  kIdentityContradicts = 414,
  // 5xx the ledger
  kLedgerWriteFailed = 501,
  kLedgerSlow = 502,
  kLedgerNoSpace = 503,
  // 6xx the cell itself
  kStarting = 601,
  kStopping = 602,
  kInternalError = 603,
  kBypassed = 604,
  kPlanChanged = 605,
  kNotSampled = 606,
};

// Who has to do something about it.
enum class Actor : std::uint8_t { kNobody, kOperator, kProcess, kMaintenance };

constexpr std::string_view name_of(Actor actor) {
  switch (actor) {
    case Actor::kNobody:
      return "nobody";
    case Actor::kOperator:
      return "operator";
    case Actor::kProcess:
      return "process engineer";
    case Actor::kMaintenance:
      break;
  }
  return "maintenance";
}

struct ReasonText {
  Reason reason;
  std::string_view name;      // stable, for logs and JSON
  std::string_view sentence;  // for people
  Actor actor;
};

inline constexpr std::array kReasonTexts = {
    ReasonText{Reason::kNone, "none", "nothing to report", Actor::kNobody},
    ReasonText{Reason::kAllWithinLimits, "all_within_limits", "every limit is kept", Actor::kNobody},
    ReasonText{Reason::kAboveUpperLimit, "above_upper_limit", "a value is above its upper limit",
               Actor::kProcess},
    ReasonText{Reason::kBelowLowerLimit, "below_lower_limit", "a value is below its lower limit",
               Actor::kProcess},
    ReasonText{Reason::kGaugeSilent, "gauge_silent", "the gauge did not answer in time", Actor::kMaintenance},
    ReasonText{Reason::kGaugeStopped, "gauge_stopped", "the gauge stopped in the middle of a traverse",
               Actor::kMaintenance},
    ReasonText{Reason::kGaugeDisconnected, "gauge_disconnected", "the port of the gauge went away",
               Actor::kMaintenance},
    ReasonText{Reason::kGaugeLinkDamaged, "gauge_link_damaged",
               "the gauge's data stayed damaged after every retry", Actor::kMaintenance},
    ReasonText{Reason::kGaugeRestarted, "gauge_restarted", "the gauge restarted during the measurement",
               Actor::kMaintenance},
    ReasonText{Reason::kGaugeRefused, "gauge_refused", "the gauge refused the traverse", Actor::kMaintenance},
    ReasonText{Reason::kGaugeFault, "gauge_fault", "the gauge reports a fault of its own",
               Actor::kMaintenance},
    ReasonText{Reason::kGaugeWrongIdentity, "gauge_wrong_identity", "another gauge than the cell's answered",
               Actor::kMaintenance},
    ReasonText{Reason::kGaugeUnproved, "gauge_unproved",
               "the gauge is not proved: a reference check is owed or failed", Actor::kOperator},
    ReasonText{Reason::kGaugeProtocol, "gauge_protocol", "the gauge speaks another version of the link",
               Actor::kMaintenance},
    ReasonText{Reason::kStylusNotClear, "stylus_not_clear", "the stylus is not clear of the part yet",
               Actor::kNobody},
    ReasonText{Reason::kGaugeStale, "gauge_stale",
               "the gauge sent the heights of the traverse before once more", Actor::kMaintenance},
    ReasonText{Reason::kTraceTooShort, "trace_too_short", "the trace is too short for the plan's settings",
               Actor::kProcess},
    ReasonText{Reason::kTraceMissingSamples, "trace_missing_samples", "samples are missing from the trace",
               Actor::kMaintenance},
    ReasonText{Reason::kTraceOverRange, "trace_over_range", "the pickup ran out of its range",
               Actor::kOperator},
    ReasonText{Reason::kTraceWrongSpacing, "trace_wrong_spacing",
               "the sample spacing does not suit the plan's settings", Actor::kMaintenance},
    ReasonText{Reason::kTraceNotFinite, "trace_not_finite", "a number of this trace is not finite",
               Actor::kMaintenance},
    ReasonText{Reason::kTooFewValues, "too_few_values", "too few values for the acceptance rule",
               Actor::kProcess},
    ReasonText{Reason::kParameterUndefined, "parameter_undefined",
               "a limited parameter does not exist on this trace", Actor::kProcess},
    ReasonText{Reason::kStylusLifted, "stylus_lifted", "the stylus lost contact with the surface",
               Actor::kOperator},
    ReasonText{Reason::kSpeedUnsteady, "speed_unsteady", "the drive did not keep its speed",
               Actor::kMaintenance},
    ReasonText{Reason::kVibration, "vibration", "the bench was shaking during the traverse",
               Actor::kOperator},
    ReasonText{Reason::kStylusStuck, "stylus_stuck",
               "the height stood still: the stylus or its signal is stuck", Actor::kMaintenance},
    ReasonText{Reason::kValueUncertain, "value_uncertain",
               "a number that a limit holds cannot be trusted on this trace", Actor::kProcess},
    ReasonText{Reason::kPickupSkidded, "pickup_skidded",
               "a skidded pickup cannot see the waves or the form that the plan limits", Actor::kProcess},
    ReasonText{Reason::kAborted, "aborted", "the measurement was aborted from outside", Actor::kNobody},
    ReasonText{Reason::kPlcSilent, "plc_silent", "the PLC's heartbeat stopped", Actor::kMaintenance},
    ReasonText{Reason::kPartLeft, "part_left", "the part left before it was judged", Actor::kOperator},
    ReasonText{Reason::kUnknownRecipe, "unknown_recipe", "no plan has the recipe number asked for",
               Actor::kProcess},
    ReasonText{Reason::kPartIdMissing, "part_id_missing", "the plan wants a part id and none was given",
               Actor::kOperator},
    ReasonText{Reason::kRequestWhileBusy, "request_while_busy",
               "a new request came before the last one was finished", Actor::kMaintenance},
    ReasonText{Reason::kStageContradictsPlan, "stage_contradicts_plan", "the stage given is not the plan's",
               Actor::kProcess},
    ReasonText{Reason::kAttemptsExhausted, "attempts_exhausted",
               "the part was measured as often as the plan allows", Actor::kOperator},
    ReasonText{Reason::kZoneNotInPosition, "zone_not_in_position",
               "the zone asked for did not come into position in time", Actor::kMaintenance},
    ReasonText{Reason::kNotAcknowledged, "not_acknowledged", "the result was not acknowledged in time",
               Actor::kMaintenance},
    ReasonText{Reason::kResultExpired, "result_expired", "the result's time is up", Actor::kNobody},
    ReasonText{Reason::kIdentityChanged, "identity_changed", "the part id changed while its request stood",
               Actor::kMaintenance},
    ReasonText{Reason::kNotThisPart, "not_this_part",
               "the face under the stylus is not that of the plan's part", Actor::kOperator},
    ReasonText{Reason::kIdentityContradicts, "identity_contradicts",
               "two sources name different parts for the one on the bench", Actor::kOperator},
    ReasonText{Reason::kLedgerWriteFailed, "ledger_write_failed", "the ledger could not be written",
               Actor::kMaintenance},
    ReasonText{Reason::kLedgerSlow, "ledger_slow", "the ledger did not confirm in time", Actor::kMaintenance},
    ReasonText{Reason::kLedgerNoSpace, "ledger_no_space", "the disk of the ledger is full",
               Actor::kMaintenance},
    ReasonText{Reason::kStarting, "starting", "the cell is starting", Actor::kNobody},
    ReasonText{Reason::kStopping, "stopping", "the cell is stopping", Actor::kNobody},
    ReasonText{Reason::kInternalError, "internal_error", "the cell met an error of its own",
               Actor::kMaintenance},
    ReasonText{Reason::kBypassed, "bypassed", "the gauge is bypassed: parts pass unmeasured",
               Actor::kOperator},
    ReasonText{Reason::kPlanChanged, "plan_changed", "the plan changed while the part was measured",
               Actor::kOperator},
    ReasonText{Reason::kNotSampled, "not_sampled", "not measured: the sampling plan passes over this part",
               Actor::kNobody},
};

// The text of a code; for a number that this build does not know (a newer ledger), the text of an unknown
// code.
constexpr ReasonText text_of(Reason reason) {
  for (const ReasonText& text : kReasonTexts) {
    if (text.reason == reason) return text;
  }
  return {reason, "unknown", "a reason that this version does not know", Actor::kMaintenance};
}

}  // namespace crestgate::base
