// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/enum_table.h"
#include "protocol/convert/wire.h"

namespace crestgate::protocol {
namespace {

constexpr EnumTable<base::Verdict, wire::Verdict, 3> kVerdicts = {{
    {base::Verdict::kNone, wire::VERDICT_NONE},
    {base::Verdict::kAccept, wire::VERDICT_ACCEPT},
    {base::Verdict::kReject, wire::VERDICT_REJECT},
}};

constexpr EnumTable<base::Fate, wire::Fate, 7> kFates = {{
    {base::Fate::kNone, wire::FATE_NONE},
    {base::Fate::kPass, wire::FATE_PASS},
    {base::Fate::kRework, wire::FATE_REWORK},
    {base::Fate::kScrap, wire::FATE_SCRAP},
    {base::Fate::kQuarantine, wire::FATE_QUARANTINE},
    {base::Fate::kMeasureAgain, wire::FATE_MEASURE_AGAIN},
    {base::Fate::kPassUnmeasured, wire::FATE_PASS_UNMEASURED},
}};

constexpr EnumTable<base::AcceptanceRule, wire::AcceptanceRule, 3> kRules = {{
    {base::AcceptanceRule::kMaximum, wire::ACCEPTANCE_RULE_MAXIMUM},
    {base::AcceptanceRule::kSixteenPercent, wire::ACCEPTANCE_RULE_SIXTEEN_PERCENT},
    {base::AcceptanceRule::kMedian, wire::ACCEPTANCE_RULE_MEDIAN},
}};

void to_wire(const base::ParameterResult& result, Problems& problems, wire::ParameterResult& message) {
  message.set_zone(result.zone);
  message.set_symbol(result.symbol);
  message.set_unit(result.unit);
  message.mutable_values()->Assign(result.values.begin(), result.values.end());
  message.set_decided(result.decided);
  if (result.lower) message.set_lower(*result.lower);
  if (result.upper) message.set_upper(*result.upper);
  if (result.rule) message.set_rule(wire_of(kRules, *result.rule, "rule", problems));
  message.set_verdict(wire_of(kVerdicts, result.verdict, "verdict", problems));
  message.set_reason(protocol::to_wire(result.reason));
}

void from_wire(const wire::ParameterResult& message, Problems& problems, base::ParameterResult& result) {
  result.zone = message.zone();
  result.symbol = message.symbol();
  result.unit = message.unit();
  result.values.assign(message.values().begin(), message.values().end());
  result.decided = message.decided();
  if (message.has_lower()) result.lower = message.lower();
  if (message.has_upper()) result.upper = message.upper();
  if (message.has_rule()) result.rule = plain_of(kRules, message.rule(), "rule", problems);
  result.verdict = plain_of(kVerdicts, message.verdict(), "verdict", problems);
  protocol::from_wire(message.reason(), "reason", problems, result.reason);
}

std::string element(std::string_view list, int index) {
  return "judgement." + std::string(list) + "[" + std::to_string(index) + "].";
}

}  // namespace

void to_wire(const base::Judgement& judgement, Problems& problems, wire::Judgement& message) {
  message.set_schema_version(kSchemaVersion);
  to_wire(judgement.identity, *message.mutable_identity());
  message.set_attempt(judgement.attempt);
  message.set_cell(judgement.cell);
  message.set_plan(judgement.plan);
  message.set_plan_stage(judgement.plan_stage);
  message.set_request_id(judgement.request_id);
  message.set_sequence(judgement.sequence);
  message.set_judged_unix_ns(judgement.judged_utc.unix_ns);
  message.set_judged_monotonic_ns(judgement.judged_monotonic.ns);
  message.set_verdict(wire_of(kVerdicts, judgement.verdict, "verdict", problems));
  message.set_reason(to_wire(judgement.reason));
  message.set_fate(wire_of(kFates, judgement.fate, "fate", problems));
  message.set_detail(judgement.detail);
  if (judgement.deciding) message.set_deciding_index(*judgement.deciding);
  message.set_software_version(judgement.software_version);
  message.set_standing(to_wire(judgement.standing, problems));
  for (const base::Citation& citation : judgement.cites) {
    wire::Citation& cite = *message.add_cites();
    cite.set_record_number(citation.record_number);
    to_wire(citation.digest, *cite.mutable_body_sha256());
  }
  for (const base::ParameterResult& result : judgement.results) {
    problems.set_prefix(element("results", message.results_size()));
    to_wire(result, problems, *message.add_results());
  }
}

void from_wire(const wire::Judgement& message, Problems& problems, base::Judgement& judgement) {
  from_wire(message.identity(), problems, judgement.identity);
  judgement.attempt = message.attempt();
  judgement.cell = message.cell();
  judgement.plan = message.plan();
  problems.small("plan_stage", message.plan_stage(), UINT16_MAX);
  judgement.plan_stage = static_cast<std::uint16_t>(message.plan_stage());
  judgement.request_id = message.request_id();
  judgement.sequence = message.sequence();
  judgement.judged_utc.unix_ns = message.judged_unix_ns();
  judgement.judged_monotonic.ns = message.judged_monotonic_ns();
  judgement.verdict = plain_of(kVerdicts, message.verdict(), "verdict", problems);
  from_wire(message.reason(), "reason", problems, judgement.reason);
  judgement.fate = plain_of(kFates, message.fate(), "fate", problems);
  judgement.detail = message.detail();
  if (message.has_deciding_index()) judgement.deciding = message.deciding_index();
  judgement.software_version = message.software_version();
  from_wire(message.standing(), problems, judgement.standing);
  for (int i = 0; i < message.cites_size() && !problems.first(); ++i) {
    problems.set_prefix(element("cites", i));
    base::Citation& citation = judgement.cites.emplace_back();
    citation.record_number = message.cites(i).record_number();
    from_wire(message.cites(i).body_sha256(), "body_sha256", problems, citation.digest);
  }
  for (int i = 0; i < message.results_size() && !problems.first(); ++i) {
    problems.set_prefix(element("results", i));
    from_wire(message.results(i), problems, judgement.results.emplace_back());
  }
}

}  // namespace crestgate::protocol
