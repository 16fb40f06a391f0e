// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/convert.h"

#include <google/protobuf/stubs/logging.h>

#include "protocol/convert/checks.h"
#include "protocol/convert/wire.h"

namespace crestgate::protocol {
namespace {

std::size_t max_body_bytes(RecordKind kind) {
  return kind == RecordKind::kJudgement ? kMaxJudgementBytes : kMaxBodyBytes;
}

base::Outcome check_size(RecordKind kind, std::size_t size) {
  if (size <= max_body_bytes(kind)) return base::Done{};
  return base::Error{base::ErrorCode::kOutOfRange, std::string(name_of(kind)) + " has " +
                                                       std::to_string(size) + " bytes, expected at most " +
                                                       std::to_string(max_body_bytes(kind))};
}

std::string prefix_of(RecordKind kind) { return std::string(name_of(kind)) + "."; }

template <class Message, class Plain>
base::Result<std::string> serialise_as(const Plain& plain, RecordKind kind) {
  Message message;
  Problems problems(prefix_of(kind));
  to_wire(plain, problems, message);
  if (problems.first()) return *problems.first();
  const auto fits = check_size(kind, message.ByteSizeLong());
  if (!fits) return fits.error();
  std::string body;
  if (!message.SerializeToString(&body)) {
    return base::Error{base::ErrorCode::kMalformed, std::string(name_of(kind)) + " cannot be serialised"};
  }
  return body;
}

template <class Message, class Plain>
base::Result<base::Record> parse_as(std::span<const std::byte> body, RecordKind kind) {
  // protobuf writes to standard error what it also returns; whoever handles the error says it, once.
  const google::protobuf::LogSilencer silence;
  Message message;
  if (!message.ParseFromArray(body.data(), static_cast<int>(body.size()))) {
    return base::Error{base::ErrorCode::kMalformed, std::string(name_of(kind)) + " of " +
                                                        std::to_string(body.size()) +
                                                        " bytes is not a message of this kind"};
  }
  Problems problems(prefix_of(kind));
  if (message.schema_version() == 0) {
    problems.say(base::ErrorCode::kMalformed, "schema_version", "is missing");
  } else if (message.schema_version() > kSchemaVersion) {
    problems.say(base::ErrorCode::kNotSupported, "schema_version",
                 "is " + std::to_string(message.schema_version()) + ", this version reads up to " +
                     std::to_string(kSchemaVersion));
  }
  Plain plain;
  from_wire(message, problems, plain);
  if (problems.first()) return *problems.first();
  base::Record record(std::move(plain));
  const auto possible = check(record);
  if (!possible) return possible.error();
  return record;
}

}  // namespace

base::Result<std::string> serialise(const base::Record& record) {
  const auto possible = check(record);
  if (!possible) return possible.error();
  const RecordKind kind = kind_of(record);
  switch (kind) {
    case RecordKind::kTraverse:
      return serialise_as<wire::Traverse>(std::get<base::Traverse>(record), kind);
    case RecordKind::kJudgement:
      return serialise_as<wire::Judgement>(std::get<base::Judgement>(record), kind);
    case RecordKind::kEvent:
      return serialise_as<wire::Event>(std::get<base::Event>(record), kind);
    case RecordKind::kDocument:
      return serialise_as<wire::Document>(std::get<base::Document>(record), kind);
  }
  return base::Error{base::ErrorCode::kNotSupported, "a record of an unknown kind cannot be serialised"};
}

base::Result<base::Record> parse(std::span<const std::byte> body, RecordKind kind) {
  const auto fits = check_size(kind, body.size());
  if (!fits) return fits.error();
  switch (kind) {
    case RecordKind::kTraverse:
      return parse_as<wire::Traverse, base::Traverse>(body, kind);
    case RecordKind::kJudgement:
      return parse_as<wire::Judgement, base::Judgement>(body, kind);
    case RecordKind::kEvent:
      return parse_as<wire::Event, base::Event>(body, kind);
    case RecordKind::kDocument:
      return parse_as<wire::Document, base::Document>(body, kind);
  }
  return base::Error{base::ErrorCode::kNotSupported,
                     "record kind " + std::to_string(static_cast<unsigned>(kind)) + " is not known"};
}

}  // namespace crestgate::protocol
