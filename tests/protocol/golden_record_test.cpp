// SPDX-License-Identifier: Apache-2.0
// Stored bytes of each message of each released version, kept for ever. They were made by protoc --encode
// from the .textproto beside them (tests/golden/record/v1/README.md), not by our conversion.

#include <gtest/gtest.h>

#include "protocol/convert/convert.h"
#include "protocol/convert/describe.h"
#include "protocol/example_records.h"
#include "protocol/golden.h"

namespace crestgate::protocol {
namespace {

base::Record golden_record(const std::string& name, RecordKind kind) {
  const std::string body = read_golden("record/v1/" + name + ".binpb");
  auto record = parse(std::as_bytes(std::span(body)), kind);
  if (record) return *std::move(record);
  ADD_FAILURE() << record.error().detail;
  return {};
}

TEST(GoldenRecord, OfVersion1AreReadAsTheyWereMeant) {
  EXPECT_EQ(golden_record("traverse", RecordKind::kTraverse), base::Record(example_traverse()));
  EXPECT_EQ(golden_record("judgement", RecordKind::kJudgement), base::Record(example_judgement()));
  EXPECT_EQ(golden_record("event", RecordKind::kEvent), base::Record(example_event()));
  EXPECT_EQ(golden_record("document", RecordKind::kDocument), base::Record(example_document()));
}

TEST(GoldenRecord, TextForPeopleIsStable) {
  expect_golden("record/v1/traverse.txt", describe(example_traverse()));
  expect_golden("record/v1/judgement.txt", describe(example_judgement()));
  expect_golden("record/v1/event.txt", describe(example_event()));
  expect_golden("record/v1/document.txt", describe(example_document()));
  expect_golden("record/v1/unknown_everything.txt", describe(base::Traverse()));
}

TEST(Describe, LetsNoTextFakeALine) {
  base::Event event;
  event.detail = "x\nwhat: \"started\"";
  EXPECT_EQ(describe(event).find("\nwhat: \"started\""), std::string::npos);
  base::Document document;
  document.content = "name: \"other\"\nx";
  EXPECT_EQ(describe(document).find("\nname: \"other\""), std::string::npos);
}

TEST(Describe, WritesTimesOfEveryCentury) {
  base::Event event;
  // 2000-02-29T12:34:56Z is 951827696 (RFC 3339 day count; GNU date agrees).
  event.happened_utc.unix_ns = 951'827'696'000'000'007;
  EXPECT_NE(describe(event).find("happened: 2000-02-29T12:34:56.000000007Z"), std::string::npos)
      << describe(event);
  event.happened_utc.unix_ns = -1;
  EXPECT_NE(describe(event).find("happened: 1969-12-31T23:59:59.999999999Z"), std::string::npos);
}

}  // namespace
}  // namespace crestgate::protocol
