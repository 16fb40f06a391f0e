// SPDX-License-Identifier: Apache-2.0
#pragma once
// The handshake of one part as a list of transitions: the diagram is drawn from it, and the tests lead the real cycle
// through it. Instants are places on the paper, in the order of time and to no scale.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "registers/register_map.h"

namespace crestgate::report {

// In the order of the rows, first what the PLC writes, then what the cell answers.
enum class LineSignal : std::uint8_t {
  kPlcHeartbeat,
  kIdentity,
  kPartPresent,
  kRequestId,
  kAbort,
  kZoneInPosition,
  kAcknowledge,
  kCellHeartbeat,
  kState,
  kBusy,
  kZoneWanted,
  kStylusClear,
  kResultValid,
  kVerdict,
  kReason,
  kLamp,
};

enum class Drawn : std::uint8_t { kBeat, kLevel, kValue };

struct SignalRow {
  LineSignal signal;
  bool from_plc;
  Drawn drawn;
  std::string_view label;  // a name of the register map
  std::string_view where;  // its place there
};

inline constexpr std::array kSignalRows = {
    SignalRow{LineSignal::kPlcHeartbeat, true, Drawn::kBeat, "plc_heartbeat", "register 0"},
    SignalRow{LineSignal::kIdentity, true, Drawn::kValue, "part_id, recipe, stage", "registers 16, 5, 6"},
    SignalRow{LineSignal::kPartPresent, true, Drawn::kLevel, "part present", "register 2, bit 0"},
    SignalRow{LineSignal::kRequestId, true, Drawn::kValue, "request_id", "register 1"},
    SignalRow{LineSignal::kAbort, true, Drawn::kLevel, "abort", "register 2, bit 1"},
    SignalRow{LineSignal::kZoneInPosition, true, Drawn::kValue, "zone_in_position", "register 3"},
    SignalRow{LineSignal::kAcknowledge, true, Drawn::kValue, "acknowledge", "register 4"},
    SignalRow{LineSignal::kCellHeartbeat, false, Drawn::kBeat, "heartbeat", "register 2"},
    SignalRow{LineSignal::kState, false, Drawn::kValue, "state", "register 3"},
    SignalRow{LineSignal::kBusy, false, Drawn::kLevel, "busy", "register 5, bit 0"},
    SignalRow{LineSignal::kZoneWanted, false, Drawn::kValue, "zone_wanted", "register 10"},
    SignalRow{LineSignal::kStylusClear, false, Drawn::kLevel, "stylus clear", "register 5, bit 1"},
    SignalRow{LineSignal::kResultValid, false, Drawn::kLevel, "result valid", "register 5, bit 2"},
    SignalRow{LineSignal::kVerdict, false, Drawn::kValue, "verdict", "register 6"},
    SignalRow{LineSignal::kReason, false, Drawn::kValue, "reason", "register 7"},
    SignalRow{LineSignal::kLamp, false, Drawn::kValue, "lamp", "beside the bench"},
};

struct Transition {
  LineSignal signal;
  int at;
  std::string_view value;  // "0" and "1" of a level, else the text to show
};

// How long a step may take.
enum class StepLimit : std::uint8_t { kNextPoll, kNextScan, kZoneTimeout, kTraverse, kAcknowledge, kGreen };

struct HandshakeStep {
  LineSignal cause;
  int from;  // the instant of a transition of `cause`
  LineSignal effect;
  int to;  // the instant of a transition of `effect`
  StepLimit limit;
  int lane;  // where its bracket is drawn, 0 topmost
  std::string_view text;
};

struct HandshakeTimeline {
  std::string_view title;
  std::string_view description;
  std::span<const LineSignal> rows;
  std::span<const Transition> transitions;  // by signal, each in the order of time; the first is at 0
  std::span<const HandshakeStep> steps;     // numbered from 1 as they stand
  int end;
};

namespace whole_part {
using enum LineSignal;

inline constexpr std::array kRows = {kPlcHeartbeat, kIdentity,      kPartPresent, kRequestId, kZoneInPosition,
                                     kAcknowledge,  kCellHeartbeat, kState,       kBusy,      kZoneWanted,
                                     kStylusClear,  kResultValid,   kVerdict,     kLamp};

inline constexpr Transition kTransitions[] = {
    {kIdentity, 0, ""},
    {kIdentity, 5, "of this part"},
    {kIdentity, 95, ""},
    {kPartPresent, 0, "0"},
    {kPartPresent, 3, "1"},
    {kPartPresent, 90, "0"},
    {kRequestId, 0, "0"},
    {kRequestId, 7, "17"},
    {kRequestId, 90, "0"},
    {kZoneInPosition, 0, "0"},
    {kZoneInPosition, 21, "1"},
    {kZoneInPosition, 44, "0"},
    {kZoneInPosition, 52, "2"},
    {kZoneInPosition, 95, "0"},
    {kAcknowledge, 0, "the one before"},
    {kAcknowledge, 81, "n"},
    {kState, 0, "ready"},
    {kState, 10, "measuring"},
    {kState, 70, "result"},
    {kState, 92, "ready"},
    {kBusy, 0, "0"},
    {kBusy, 10, "1"},
    {kBusy, 70, "0"},
    {kZoneWanted, 0, "0"},
    {kZoneWanted, 10, "1"},
    {kZoneWanted, 23, "0"},
    {kZoneWanted, 41, "2"},
    {kZoneWanted, 54, "0"},
    {kStylusClear, 0, "1"},
    {kStylusClear, 23, "0"},
    {kStylusClear, 41, "1"},
    {kStylusClear, 54, "0"},
    {kStylusClear, 74, "1"},
    {kResultValid, 0, "0"},
    {kResultValid, 70, "1"},
    {kResultValid, 92, "0"},
    {kVerdict, 0, "0"},
    {kVerdict, 70, "A5C3h"},
    {kVerdict, 92, "0"},
    {kLamp, 0, "dark"},
    {kLamp, 70, "ACCEPT"},
    {kLamp, 92, "dark"},
};

inline constexpr HandshakeStep kSteps[] = {
    {kRequestId, 7, kBusy, 10, StepLimit::kNextPoll, 1,
     "The PLC asks: part present and identity stand, then request_id becomes a new number. The cell is busy, "
     "repeats the "
     "number in request_echo and wants the first zone."},
    {kZoneWanted, 10, kZoneInPosition, 21, StepLimit::kZoneTimeout, 0,
     "The PLC brings the zone under the stylus and says so. It moves only while stylus clear is set."},
    {kZoneInPosition, 21, kStylusClear, 23, StepLimit::kNextPoll, 1,
     "stylus clear falls before the stylus does. From now on nothing may move."},
    {kStylusClear, 23, kStylusClear, 41, StepLimit::kTraverse, 0,
     "The traverses of this zone, then the stylus is raised. stylus clear is set, and the next zone is "
     "wanted."},
    {kZoneWanted, 41, kZoneInPosition, 52, StepLimit::kZoneTimeout, 0,
     "The PLC moves: zone_in_position is 0 on the way and the zone's number when it stands."},
    {kStylusClear, 54, kResultValid, 70, StepLimit::kTraverse, 0,
     "The last traverse. All traces are written down, judged, the judgement is written down, and only then "
     "shown. The "
     "verdict does not wait for the stylus; the part does: move it only when stylus clear is set."},
    {kResultValid, 70, kAcknowledge, 81, StepLimit::kAcknowledge, 1,
     "The PLC takes the verdict and writes sequence_first, here n, to acknowledge. Without it the result is "
     "withdrawn."},
    {kLamp, 70, kPartPresent, 90, StepLimit::kGreen, 2,
     "Green lasts while the part lies there, its request stands and nothing is in doubt, and never longer "
     "than this."},
    {kPartPresent, 90, kResultValid, 92, StepLimit::kNextPoll, 0,
     "The part leaves: part present falls and request_id goes back to 0. Green is off, the result is "
     "withdrawn, the cell is "
     "ready for another number."},
};
}  // namespace whole_part

namespace aborted_part {
using enum LineSignal;

inline constexpr std::array kRows = {kPartPresent, kRequestId,   kAbort,   kZoneInPosition,
                                     kAcknowledge, kState,       kBusy,    kZoneWanted,
                                     kStylusClear, kResultValid, kVerdict, kReason};

inline constexpr Transition kTransitions[] = {
    {kPartPresent, 0, "1"},
    {kRequestId, 0, "0"},
    {kRequestId, 7, "18"},
    {kRequestId, 67, "0"},
    {kRequestId, 80, "19"},
    {kAbort, 0, "0"},
    {kAbort, 36, "1"},
    {kAbort, 67, "0"},
    {kZoneInPosition, 0, "0"},
    {kZoneInPosition, 21, "1"},
    {kAcknowledge, 0, "n"},
    {kAcknowledge, 57, "n + 1"},
    {kState, 0, "ready"},
    {kState, 10, "measuring"},
    {kState, 46, "result"},
    {kState, 70, "ready"},
    {kState, 83, "measuring"},
    {kBusy, 0, "0"},
    {kBusy, 10, "1"},
    {kBusy, 46, "0"},
    {kBusy, 83, "1"},
    {kZoneWanted, 0, "0"},
    {kZoneWanted, 10, "1"},
    {kZoneWanted, 23, "0"},
    {kZoneWanted, 83, "1"},
    {kZoneWanted, 85, "0"},
    {kStylusClear, 0, "1"},
    {kStylusClear, 23, "0"},
    {kStylusClear, 62, "1"},
    {kStylusClear, 85, "0"},
    {kResultValid, 0, "0"},
    {kResultValid, 46, "1"},
    {kResultValid, 70, "0"},
    {kVerdict, 0, "0"},
    {kVerdict, 46, "3CA5h none"},
    {kVerdict, 70, "0"},
    {kReason, 0, "0"},
    {kReason, 46, "401"},
    {kReason, 70, "0"},
};

inline constexpr HandshakeStep kSteps[] = {
    {kRequestId, 7, kBusy, 10, StepLimit::kNextPoll, 1, "Asked and begun as in the other drawing."},
    {kZoneWanted, 10, kZoneInPosition, 21, StepLimit::kZoneTimeout, 0, "The first zone comes into position."},
    {kStylusClear, 23, kAbort, 36, StepLimit::kTraverse, 0,
     "Half-way through the traverse the PLC sets abort. request_id going back to 0 does the same."},
    {kAbort, 36, kResultValid, 46, StepLimit::kNextPoll, 0,
     "The stylus is raised at once. The answer is none (401), written down like any other; the lamp is "
     "dark."},
    {kResultValid, 46, kAcknowledge, 57, StepLimit::kAcknowledge, 0,
     "The PLC takes it by its sequence number."},
    {kAcknowledge, 57, kAbort, 67, StepLimit::kNextScan, 0,
     "abort falls, request_id goes back to 0. Wait for stylus clear before anything moves."},
    {kAbort, 67, kResultValid, 70, StepLimit::kNextPoll, 0, "The answer is withdrawn, the cell is ready."},
    {kRequestId, 80, kBusy, 83, StepLimit::kNextPoll, 0,
     "A new number asks again. The same part, which never left, goes on at the traverse where it was stopped "
     "and as the same attempt, if no more time than the resume limit has passed."},
};
}  // namespace aborted_part

inline constexpr HandshakeTimeline kWholePart{.title = "One part with two zones, accepted",
                                              .description =
                                                  "Fourteen signals one below the other over the time of one "
                                                  "part, from part present and request through "
                                                  "two zones to the accepted result, its acknowledge and the "
                                                  "part's leaving. The steps are numbered and "
                                                  "are told in the table that follows.",
                                              .rows = whole_part::kRows,
                                              .transitions = whole_part::kTransitions,
                                              .steps = whole_part::kSteps,
                                              .end = 100};

inline constexpr HandshakeTimeline kAbortedPart{
    .title = "Stopped half-way and asked again",
    .description =
        "The same signals when the PLC sets abort during the first traverse: the stylus is raised, the "
        "answer is "
        "none with reason 401, the PLC acknowledges it, clears its request and asks again for the part that "
        "stayed on the bench.",
    .rows = aborted_part::kRows,
    .transitions = aborted_part::kTransitions,
    .steps = aborted_part::kSteps,
    .end = 100};

constexpr const SignalRow& row_of(LineSignal signal) { return kSignalRows[static_cast<std::size_t>(signal)]; }

// Rows in the order of the enumeration; per signal the first transition is at 0 and each later one is later.
constexpr bool is_in_order(const HandshakeTimeline& timeline) {
  for (std::size_t i = 0; i < kSignalRows.size(); ++i) {
    if (static_cast<std::size_t>(kSignalRows[i].signal) != i) return false;
  }
  for (std::size_t i = 0; i < timeline.transitions.size(); ++i) {
    const Transition& now = timeline.transitions[i];
    const bool same = i > 0 && timeline.transitions[i - 1].signal == now.signal;
    if (same ? now.at <= timeline.transitions[i - 1].at : now.at != 0) return false;
    if (now.at >= timeline.end) return false;
  }
  return true;
}
static_assert(is_in_order(kWholePart) && is_in_order(kAbortedPart));

// Every step leads from a change that is in the list to a later one.
constexpr bool steps_have_their_transitions(const HandshakeTimeline& timeline) {
  const auto holds = [&timeline](LineSignal signal, int at) {
    for (const Transition& transition : timeline.transitions) {
      if (transition.signal == signal && transition.at == at && at > 0) return true;
    }
    return false;
  };
  for (const HandshakeStep& step : timeline.steps) {
    if (step.from >= step.to || !holds(step.cause, step.from) || !holds(step.effect, step.to)) return false;
  }
  return true;
}
static_assert(steps_have_their_transitions(kWholePart) && steps_have_their_transitions(kAbortedPart));

}  // namespace crestgate::report
