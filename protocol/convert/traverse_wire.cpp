// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/wire.h"

namespace crestgate::protocol {

void to_wire(const base::Traverse& traverse, Problems& problems, wire::Traverse& message) {
  message.set_schema_version(kSchemaVersion);
  to_wire(traverse.identity, *message.mutable_identity());
  message.set_attempt(traverse.attempt);
  message.set_cell(traverse.cell);
  message.set_plan(traverse.plan);
  message.set_plan_stage(traverse.plan_stage);
  message.set_zone(traverse.zone);
  message.set_zone_number(traverse.zone_number);
  message.set_traverse_number(traverse.traverse_number);
  message.set_request_id(traverse.request_id);
  to_wire(traverse.gauge, problems, *message.mutable_gauge());
  message.set_standing(to_wire(traverse.standing, problems));
  message.set_started_unix_ns(traverse.started_utc.unix_ns);
  message.set_started_monotonic_ns(traverse.started_monotonic.ns);
  message.set_finished_monotonic_ns(traverse.finished_monotonic.ns);
  if (traverse.position_mm) message.set_position_mm(*traverse.position_mm);
  const base::Heights& heights = traverse.heights;
  message.set_spacing_mm(heights.spacing_mm);
  message.set_height_step_um(heights.height_step_um);
  message.set_speed_mm_per_s(heights.speed_mm_per_s);
  message.set_quality_bits(heights.quality);
  message.mutable_height_counts()->Assign(heights.counts.begin(), heights.counts.end());
  to_wire(traverse.plan_digest, *message.mutable_plan_sha256());
  to_wire(traverse.cell_digest, *message.mutable_cell_sha256());
}

void from_wire(const wire::Traverse& message, Problems& problems, base::Traverse& traverse) {
  from_wire(message.identity(), problems, traverse.identity);
  traverse.attempt = message.attempt();
  traverse.cell = message.cell();
  traverse.plan = message.plan();
  problems.small("plan_stage", message.plan_stage(), UINT16_MAX);
  traverse.plan_stage = static_cast<std::uint16_t>(message.plan_stage());
  traverse.zone = message.zone();
  traverse.zone_number = message.zone_number();
  traverse.traverse_number = message.traverse_number();
  traverse.request_id = message.request_id();
  from_wire(message.gauge(), problems, traverse.gauge);
  from_wire(message.standing(), problems, traverse.standing);
  traverse.started_utc.unix_ns = message.started_unix_ns();
  traverse.started_monotonic.ns = message.started_monotonic_ns();
  traverse.finished_monotonic.ns = message.finished_monotonic_ns();
  if (message.has_position_mm()) traverse.position_mm = message.position_mm();
  base::Heights& heights = traverse.heights;
  heights.spacing_mm = message.spacing_mm();
  heights.height_step_um = message.height_step_um();
  heights.speed_mm_per_s = message.speed_mm_per_s();
  heights.quality = message.quality_bits();
  heights.counts.assign(message.height_counts().begin(), message.height_counts().end());
  from_wire(message.plan_sha256(), "plan_sha256", problems, traverse.plan_digest);
  from_wire(message.cell_sha256(), "cell_sha256", problems, traverse.cell_digest);
}

}  // namespace crestgate::protocol
