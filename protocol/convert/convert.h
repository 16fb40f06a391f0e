// SPDX-License-Identifier: Apache-2.0
#pragma once
// Records to the bytes that are stored, and back. The only door between the plain structs and protobuf.

#include <cstddef>
#include <span>
#include <string>

#include "base/record.h"
#include "base/result.h"
#include "protocol/convert/record_kind.h"

namespace crestgate::protocol {

// No stored record is longer; checked before anything is parsed or written.
inline constexpr std::size_t kMaxBodyBytes = std::size_t{16} << 20U;
// A judgement has many small parts that grow when read; 4 MiB are some 30 000 parameter results.
inline constexpr std::size_t kMaxJudgementBytes = std::size_t{4} << 20U;

// Purpose  the body of a ledger entry: one protobuf message of package crestgate.record.v1.
// Errors   kNotFinite, kOutOfRange, kMalformed (text that is not UTF-8): `detail` names the field. What parse
//          would refuse is not written in the first place.
// Note     protobuf promises no canonical bytes: digests are taken of what was stored, never of a repetition.
base::Result<std::string> serialise(const base::Record& record);

// Purpose  the record back, field for field; what was absent stays absent.
// Pre      none: any bytes are safe.
// Errors   kOutOfRange: too long, or a number that cannot be. kMalformed: not such a message, a digest of the
//          wrong length, text that is not UTF-8. kNotSupported: a newer schema version, or a value of an
//          enumeration or a kind that this version does not know. kNotFinite. `detail` names the field.
// Note     a reason code without a name here is kept as its number (base::text_of says "unknown"); unknown
//          fields are passed over, since a newer version may add some.
base::Result<base::Record> parse(std::span<const std::byte> body, RecordKind kind);

}  // namespace crestgate::protocol
