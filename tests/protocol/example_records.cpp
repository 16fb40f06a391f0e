// SPDX-License-Identifier: Apache-2.0
#include "protocol/example_records.h"

#include <cmath>
#include <numeric>

namespace crestgate::protocol {
namespace {

base::Digest counting_digest(std::uint8_t first) {
  base::Digest digest;
  std::iota(digest.bytes.begin(), digest.bytes.end(), first);
  return digest;
}

base::PartIdentity example_identity() {
  base::PartIdentity identity;
  identity.part_id = "SN-000417";
  identity.batch = "B7";
  identity.machine = "grinder 3";
  identity.stage = std::uint16_t{20};
  identity.spindle = std::uint16_t{2};
  identity.wheel = 118U;
  identity.dress_count = 0U;  // present and zero: just dressed
  return identity;
}

}  // namespace

base::Traverse example_traverse() {
  base::Traverse traverse;
  traverse.identity = example_identity();
  traverse.attempt = 2;
  traverse.cell = "bench-1";
  traverse.plan = "journal finished";
  traverse.zone = "crest A";
  traverse.zone_number = 3;
  traverse.traverse_number = 4;
  traverse.request_id = 5001;
  traverse.position_mm = -1.25;
  traverse.gauge = {.kind = "link",
                    .model = "model \xC2\xB5",
                    .serial_number = "G-77",
                    .firmware = "1.4.2",
                    .boot_id = 0xFEDCBA9876543210U,
                    .pickup = base::Pickup::kSkidless,
                    .tip_radius_um = 2.0,
                    .range_um = 400.0};
  traverse.standing = base::Standing::kProved;
  traverse.started_utc.unix_ns = 1'766'000'000'123'456'789;
  traverse.started_monotonic.ns = 81'000'000'001;
  traverse.finished_monotonic.ns = 89'000'000'002;
  traverse.heights.spacing_mm = 0.0005;
  traverse.heights.height_step_um = 0.001;
  traverse.heights.speed_mm_per_s = 0.5;
  traverse.heights.quality = base::kQualityOverRange | base::kQualityMissing | base::kQualityResent;
  traverse.heights.counts = {-1234, 0,  1, base::kMissingCount, 2'000'000'000, base::kOverRangeCount,
                             7,     -7, 8, -2'000'000'000};
  traverse.plan_digest = counting_digest(1);
  traverse.cell_digest = counting_digest(101);
  return traverse;
}

base::Judgement example_judgement() {
  base::Judgement judgement;
  judgement.identity = example_identity();
  judgement.identity.batch.reset();
  judgement.attempt = 2;
  judgement.cell = "bench-1";
  judgement.plan = "journal finished";
  judgement.request_id = 5001;
  judgement.sequence = 70'000;
  judgement.judged_utc.unix_ns = -1;
  judgement.judged_monotonic.ns = 90'000'000'003;
  judgement.verdict = base::Verdict::kReject;
  judgement.reason = base::Reason::kAboveUpperLimit;
  judgement.fate = base::Fate::kRework;
  judgement.detail = "Ra of crest A is 0.412 um, the limit is 0.4 um";
  judgement.deciding = 0U;
  base::ParameterResult limited;
  limited.zone = "crest A";
  limited.symbol = "Ra";
  limited.unit = "um";
  limited.values = {0.412, 0.395, 0.1};
  limited.decided = 0.412;
  limited.lower = 0.0;
  limited.upper = 0.4;
  limited.rule = base::AcceptanceRule::kSixteenPercent;
  limited.verdict = base::Verdict::kReject;
  limited.reason = base::Reason::kAboveUpperLimit;
  base::ParameterResult free;
  free.zone = "crest A";
  free.symbol = "Rsk";
  free.decided = -0.5;
  judgement.results = {limited, free};
  judgement.cites = {{17, counting_digest(3)}, {0xFFFFFFFFFFFFFFFFU, counting_digest(7)}};
  judgement.software_version = "0.1.0";
  judgement.standing = base::Standing::kUnproved;
  return judgement;
}

base::Event example_event() {
  base::Event event;
  event.happened_utc.unix_ns = 1'766'000'000'000'000'000;
  event.happened_monotonic.ns = 12;
  event.cell = "bench-1";
  event.reason = base::Reason::kLedgerNoSpace;
  event.what = "fault";
  event.detail = "line one\nline \"two\"";
  event.software_version = "0.1.0";
  return event;
}

base::Document example_document() {
  base::Document document;
  document.kind = base::DocumentKind::kPlan;
  document.name = "journal finished";
  document.source = "plan.toml";
  document.content = "[zone]\nname = \"crest A\"\n";
  document.recorded_utc.unix_ns = 1'766'000'000'000'000'001;
  return document;
}

base::Record note(const std::string& text) {
  base::Event event;
  event.what = "note";
  event.detail = text;
  return event;
}

base::Traverse long_traverse(std::size_t samples) {
  base::Traverse traverse = example_traverse();
  traverse.heights.counts.resize(samples);
  for (std::size_t i = 0; i < samples; ++i) {
    const auto x = static_cast<double>(i);
    traverse.heights.counts[i] =
        static_cast<std::int32_t>(4000.0 * std::sin(0.01 * x) + 600.0 * std::sin(1.7 * x));
  }
  return traverse;
}

}  // namespace crestgate::protocol
