// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/enum_table.h"
#include "protocol/convert/wire.h"

namespace crestgate::protocol {
namespace {

constexpr EnumTable<base::DocumentKind, wire::DocumentKind, 7> kDocumentKinds = {{
    {base::DocumentKind::kPlan, wire::DOCUMENT_KIND_PLAN},
    {base::DocumentKind::kCell, wire::DOCUMENT_KIND_CELL},
    {base::DocumentKind::kDialect, wire::DOCUMENT_KIND_DIALECT},
    {base::DocumentKind::kCertificate, wire::DOCUMENT_KIND_CERTIFICATE},
    {base::DocumentKind::kBaseline, wire::DOCUMENT_KIND_BASELINE},
    {base::DocumentKind::kBudget, wire::DOCUMENT_KIND_BUDGET},
    {base::DocumentKind::kFittedModel, wire::DOCUMENT_KIND_FITTED_MODEL},
}};

}  // namespace

void to_wire(const base::Document& document, Problems& problems, wire::Document& message) {
  message.set_schema_version(kSchemaVersion);
  message.set_kind(wire_of(kDocumentKinds, document.kind, "kind", problems));
  message.set_name(document.name);
  message.set_source(document.source);
  message.set_content(document.content);
  message.set_recorded_unix_ns(document.recorded_utc.unix_ns);
}

void from_wire(const wire::Document& message, Problems& problems, base::Document& document) {
  document.kind = plain_of(kDocumentKinds, message.kind(), "kind", problems);
  document.name = message.name();
  document.source = message.source();
  document.content = message.content();
  document.recorded_utc.unix_ns = message.recorded_unix_ns();
}

}  // namespace crestgate::protocol
