// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/: one traverse over an open link, from TRAVERSE to the last sample in its place.
//
// Source  protocol/link/LINK.md section 3, "A traverse", and section 5.

#include <memory>

#include "driver/gauge/gauge.h"
#include "driver/gauge/link/link_session.h"

namespace crestgate::driver::link {

// The request in the wire's units.
// Errors  kOutOfRange: not finite, not positive, or too large for the wire.
[[nodiscard]] base::Result<StartTraverse> to_wire(const TraverseRequest& request);

// Pre  a Turn is held.
[[nodiscard]] Awaitable<base::Result<TraverseResult>> run_traverse(std::shared_ptr<Session> session,
                                                                   TraverseRequest request);

}  // namespace crestgate::driver::link
