// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/wire.h"

namespace crestgate::protocol {

void to_wire(const base::Event& event, Problems& /*problems*/, wire::Event& message) {
  message.set_schema_version(kSchemaVersion);
  message.set_happened_unix_ns(event.happened_utc.unix_ns);
  message.set_happened_monotonic_ns(event.happened_monotonic.ns);
  message.set_cell(event.cell);
  message.set_reason(to_wire(event.reason));
  message.set_what(event.what);
  message.set_detail(event.detail);
  message.set_software_version(event.software_version);
}

void from_wire(const wire::Event& message, Problems& problems, base::Event& event) {
  event.happened_utc.unix_ns = message.happened_unix_ns();
  event.happened_monotonic.ns = message.happened_monotonic_ns();
  event.cell = message.cell();
  from_wire(message.reason(), "reason", problems, event.reason);
  event.what = message.what();
  event.detail = message.detail();
  event.software_version = message.software_version();
}

}  // namespace crestgate::protocol
