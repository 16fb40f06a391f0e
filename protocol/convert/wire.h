// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/convert: plain struct <-> generated message, one pair of functions per message.
// to_wire writes what it is given; from_wire also reports what the plain struct cannot say. Ranges and text
// are checked elsewhere (checks.h).

#include <string>
#include <string_view>

#include "base/record.h"
#include "crestgate/record/v1/document.pb.h"
#include "crestgate/record/v1/event.pb.h"
#include "crestgate/record/v1/identity.pb.h"
#include "crestgate/record/v1/judgement.pb.h"
#include "crestgate/record/v1/traverse.pb.h"
#include "protocol/convert/problems.h"

namespace crestgate::protocol {

namespace wire = crestgate::record::v1;

// Raised only when an older reader would misunderstand a record.
inline constexpr std::uint32_t kSchemaVersion = 1;

void to_wire(const base::PartIdentity& identity, wire::PartIdentity& message);
void to_wire(const base::GaugeIdentity& gauge, Problems& problems, wire::GaugeIdentity& message);
void to_wire(const base::Traverse& traverse, Problems& problems, wire::Traverse& message);
void to_wire(const base::Judgement& judgement, Problems& problems, wire::Judgement& message);
void to_wire(const base::Event& event, Problems& problems, wire::Event& message);
void to_wire(const base::Document& document, Problems& problems, wire::Document& message);

void from_wire(const wire::PartIdentity& message, Problems& problems, base::PartIdentity& identity);
void from_wire(const wire::GaugeIdentity& message, Problems& problems, base::GaugeIdentity& gauge);
void from_wire(const wire::Traverse& message, Problems& problems, base::Traverse& traverse);
void from_wire(const wire::Judgement& message, Problems& problems, base::Judgement& judgement);
void from_wire(const wire::Event& message, Problems& problems, base::Event& event);
void from_wire(const wire::Document& message, Problems& problems, base::Document& document);

void to_wire(const base::Digest& digest, std::string& bytes);
void from_wire(const std::string& bytes, std::string_view field, Problems& problems, base::Digest& digest);
void from_wire(wire::Reason number, std::string_view field, Problems& problems, base::Reason& reason);
wire::Reason to_wire(base::Reason reason);
wire::Standing to_wire(base::Standing standing, Problems& problems);
void from_wire(wire::Standing number, Problems& problems, base::Standing& standing);

}  // namespace crestgate::protocol
