// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/convert.h"

#include <cmath>
#include <limits>
#include <string>

#include <gtest/gtest.h>

#include "crestgate/record/v1/event.pb.h"
#include "crestgate/record/v1/judgement.pb.h"
#include "crestgate/record/v1/traverse.pb.h"
#include "protocol/example_records.h"

namespace crestgate::protocol {
namespace {

namespace wire = crestgate::record::v1;
using base::ErrorCode;

std::span<const std::byte> bytes_of(const std::string& text) { return std::as_bytes(std::span(text)); }

base::Record there_and_back(const base::Record& record) {
  const auto body = serialise(record);
  if (!body) {
    ADD_FAILURE() << body.error().detail;
    return record;
  }
  auto back = parse(bytes_of(*body), kind_of(record));
  if (!back) {
    ADD_FAILURE() << back.error().detail;
    return base::Record();
  }
  return *std::move(back);
}

TEST(Convert, KeepsEveryFieldOfEveryKind) {
  for (const base::Record& record : {base::Record(example_traverse()), base::Record(example_judgement()),
                                     base::Record(example_event()), base::Record(example_document())}) {
    EXPECT_EQ(there_and_back(record), record) << name_of(kind_of(record));
  }
}

TEST(Convert, KeepsWhatIsNotKnownApartFromZero) {
  EXPECT_EQ(there_and_back(base::Traverse()), base::Record(base::Traverse()));
  EXPECT_EQ(there_and_back(base::Judgement()), base::Record(base::Judgement()));
  EXPECT_EQ(there_and_back(base::Event()), base::Record(base::Event()));
  base::Traverse zeros;
  zeros.identity.part_id = "";
  zeros.identity.stage = std::uint16_t{0};
  zeros.identity.spindle = std::uint16_t{0};
  zeros.identity.wheel = 0U;
  zeros.identity.dress_count = 0U;
  zeros.position_mm = 0.0;
  EXPECT_EQ(there_and_back(zeros), base::Record(zeros));
  EXPECT_NE(there_and_back(zeros), base::Record(base::Traverse()));
}

TEST(Convert, KeepsTheExtremesOfEveryNumber) {
  base::Traverse traverse = example_traverse();
  traverse.started_utc.unix_ns = std::numeric_limits<std::int64_t>::min();
  traverse.finished_monotonic.ns = std::numeric_limits<std::int64_t>::max();
  traverse.identity.stage = std::uint16_t{65535};
  traverse.identity.wheel = 0xFFFFFFFFU;
  traverse.heights.quality = 0xFFFFFFFFU;
  traverse.heights.spacing_mm = std::numeric_limits<double>::denorm_min();
  EXPECT_EQ(there_and_back(traverse), base::Record(traverse));
  base::Judgement judgement = example_judgement();
  judgement.results[0].values = {std::numeric_limits<double>::max(), -0.0, 5e-324};
  const auto back = std::get<base::Judgement>(there_and_back(judgement));
  EXPECT_EQ(back, judgement);
  EXPECT_TRUE(std::signbit(back.results[0].values[1]));
}

TEST(Convert, KeepsEveryValueOfEveryEnumeration) {
  for (const auto standing : {base::Standing::kUnknown, base::Standing::kProved, base::Standing::kUnproved}) {
    for (const auto pickup : {base::Pickup::kUnknown, base::Pickup::kSkidless, base::Pickup::kSkidded}) {
      base::Traverse traverse;
      traverse.standing = standing;
      traverse.gauge.pickup = pickup;
      EXPECT_EQ(there_and_back(traverse), base::Record(traverse));
    }
  }
  for (const auto verdict : {base::Verdict::kNone, base::Verdict::kAccept, base::Verdict::kReject}) {
    for (int fate = 0; fate <= static_cast<int>(base::Fate::kPassUnmeasured); ++fate) {
      base::Judgement judgement;
      judgement.verdict = verdict;
      judgement.fate = static_cast<base::Fate>(fate);
      EXPECT_EQ(there_and_back(judgement), base::Record(judgement));
    }
  }
  for (int kind = 1; kind <= static_cast<int>(base::DocumentKind::kFittedModel); ++kind) {
    base::Document document;
    document.kind = static_cast<base::DocumentKind>(kind);
    EXPECT_EQ(there_and_back(document), base::Record(document));
  }
  for (const base::ReasonText& text : base::kReasonTexts) {
    base::Event event;
    event.reason = text.reason;
    EXPECT_EQ(there_and_back(event), base::Record(event));
  }
}

TEST(Convert, KeepsAReasonThatHasNoNameYet) {
  base::Event event;
  event.reason = static_cast<base::Reason>(9999);
  EXPECT_EQ(there_and_back(event), base::Record(event));
}

TEST(Convert, KeepsDocumentBytesThatAreNotText) {
  base::Document document = example_document();
  document.content = std::string("\xFF\x00\xFE\r\n", 5);
  EXPECT_EQ(there_and_back(document), base::Record(document));
}

TEST(Convert, RefusesToWriteWhatIsNotFiniteAndNamesTheField) {
  base::Traverse traverse = example_traverse();
  traverse.gauge.tip_radius_um = std::nan("");
  auto body = serialise(traverse);
  ASSERT_FALSE(body.has_value());
  EXPECT_EQ(body.error().code, ErrorCode::kNotFinite);
  EXPECT_NE(body.error().detail.find("traverse.gauge.tip_radius_um"), std::string::npos)
      << body.error().detail;
  base::Judgement judgement = example_judgement();
  judgement.results[1].decided = std::numeric_limits<double>::infinity();
  body = serialise(judgement);
  ASSERT_FALSE(body.has_value());
  EXPECT_EQ(body.error().code, ErrorCode::kNotFinite);
  EXPECT_NE(body.error().detail.find("judgement.results[1].decided"), std::string::npos)
      << body.error().detail;
}

TEST(Convert, RefusesNumbersThatCannotBe) {
  base::Traverse traverse = example_traverse();
  traverse.heights.spacing_mm = 0.0;
  EXPECT_EQ(serialise(traverse).error().code, ErrorCode::kOutOfRange);
  traverse = example_traverse();
  traverse.heights.height_step_um = -0.001;
  EXPECT_EQ(serialise(traverse).error().code, ErrorCode::kOutOfRange);
  traverse = example_traverse();
  traverse.position_mm = 1e9;
  EXPECT_EQ(serialise(traverse).error().code, ErrorCode::kOutOfRange);
  base::Judgement judgement = example_judgement();
  judgement.deciding = 2U;
  EXPECT_EQ(serialise(judgement).error().code, ErrorCode::kOutOfRange);
}

TEST(Convert, RefusesAnEnumerationValueWithoutMeaning) {
  base::Traverse traverse;
  traverse.standing = static_cast<base::Standing>(9);
  const auto body = serialise(traverse);
  ASSERT_FALSE(body.has_value());
  EXPECT_EQ(body.error().detail, "traverse.standing has the value 9, which has no meaning");
}

// Well-formed and malformed sequences of RFC 3629: overlong forms, surrogates, beyond U+10FFFF, cut short.
TEST(Convert, RefusesTextThatIsNotUtf8) {
  for (const std::string bad : {"\xC0\xAF", "\xE0\x80\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80",
                                "\xF5\x80\x80\x80", "\x80", "a\xC3", "\xE2\x82", "\xF0\x9F\x98", "\xFF"}) {
    base::Event event;
    event.cell = bad;
    const auto body = serialise(event);
    ASSERT_FALSE(body.has_value());
    EXPECT_EQ(body.error().code, ErrorCode::kMalformed);
    EXPECT_EQ(body.error().detail, "event.cell is not UTF-8 text");
  }
  for (const std::string good : {"", "a", "\xC2\x80", "\xDF\xBF", "\xE0\xA0\x80", "\xED\x9F\xBF",
                                 "\xEE\x80\x80", "\xF0\x90\x80\x80", "\xF4\x8F\xBF\xBF"}) {
    base::Event event;
    event.cell = good;
    EXPECT_TRUE(serialise(event).has_value());
  }
}

template <class Message>
base::Error refused(const Message& message, RecordKind kind) {
  const auto record = parse(bytes_of(message.SerializeAsString()), kind);
  if (!record) return record.error();
  ADD_FAILURE() << "was not refused: " << message.ShortDebugString();
  return {};
}

wire::Traverse stored_traverse() {
  wire::Traverse message;
  EXPECT_TRUE(message.ParseFromString(*serialise(example_traverse())));
  return message;
}

TEST(Parse, RefusesUnknownEnumerationValuesByFieldName) {
  wire::Traverse traverse = stored_traverse();
  traverse.mutable_gauge()->set_pickup(static_cast<wire::Pickup>(3));
  base::Error error = refused(traverse, RecordKind::kTraverse);
  EXPECT_EQ(error.code, ErrorCode::kNotSupported);
  EXPECT_EQ(error.detail, "traverse.gauge.pickup has the value 3, which this version does not know");
  wire::Judgement judgement;
  ASSERT_TRUE(judgement.ParseFromString(*serialise(example_judgement())));
  judgement.mutable_results(1)->set_rule(wire::ACCEPTANCE_RULE_UNSPECIFIED);
  error = refused(judgement, RecordKind::kJudgement);
  EXPECT_EQ(error.detail, "judgement.results[1].rule has the value 0, which this version does not know");
  judgement.clear_verdict();
  EXPECT_EQ(refused(judgement, RecordKind::kJudgement).detail,
            "judgement.verdict has the value 0, which this version does not know");
}

TEST(Parse, RefusesNumbersThatAreNotFiniteOrCannotBe) {
  wire::Traverse traverse = stored_traverse();
  traverse.set_spacing_mm(std::numeric_limits<double>::infinity());
  EXPECT_EQ(refused(traverse, RecordKind::kTraverse).code, ErrorCode::kNotFinite);
  traverse = stored_traverse();
  traverse.mutable_identity()->set_stage(65536);
  EXPECT_EQ(refused(traverse, RecordKind::kTraverse).detail,
            "traverse.identity.stage is 65536, expected at most 65535");
  wire::Event event;
  event.set_schema_version(1);
  event.set_reason(static_cast<wire::Reason>(-1));
  EXPECT_EQ(refused(event, RecordKind::kEvent).code, ErrorCode::kOutOfRange);
}

TEST(Parse, RefusesADigestOfTheWrongLength) {
  wire::Traverse traverse = stored_traverse();
  traverse.set_plan_sha256("short");
  const base::Error error = refused(traverse, RecordKind::kTraverse);
  EXPECT_EQ(error.code, ErrorCode::kMalformed);
  EXPECT_EQ(error.detail, "traverse.plan_sha256 has 5 bytes, expected 32");
}

TEST(Parse, RefusesANewerSchemaAndOneThatIsMissing) {
  wire::Traverse traverse = stored_traverse();
  traverse.set_schema_version(2);
  EXPECT_EQ(refused(traverse, RecordKind::kTraverse).code, ErrorCode::kNotSupported);
  EXPECT_EQ(parse({}, RecordKind::kEvent).error().code, ErrorCode::kMalformed) << "an empty message parses";
}

TEST(Parse, PassesOverFieldsOfANewerVersion) {
  std::string body = *serialise(example_event());
  body += std::string("\xFA\x3F\x03new", 6);  // field 1023, bytes, length 3
  const auto record = parse(bytes_of(body), RecordKind::kEvent);
  ASSERT_TRUE(record.has_value()) << record.error().detail;
  EXPECT_EQ(*record, base::Record(example_event()));
}

TEST(Parse, RefusesTooManyBytesBeforeReadingThem) {
  const std::string zeros(kMaxBodyBytes + 1, '\0');
  EXPECT_EQ(parse(bytes_of(zeros), RecordKind::kDocument).error().code, ErrorCode::kOutOfRange);
  base::Document document;
  document.content = zeros;
  EXPECT_EQ(serialise(document).error().code, ErrorCode::kOutOfRange);
  const std::string many(kMaxJudgementBytes + 1, '\0');
  EXPECT_EQ(parse(bytes_of(many), RecordKind::kJudgement).error().code, ErrorCode::kOutOfRange);
}

TEST(Parse, RefusesAKindThatIsNotKnown) {
  EXPECT_EQ(parse({}, static_cast<RecordKind>(5)).error().code, ErrorCode::kNotSupported);
}

TEST(Parse, NeverFailsOtherwiseOnAnyPrefixOrFlippedBit) {
  for (const base::Record& record : {base::Record(example_traverse()), base::Record(example_judgement()),
                                     base::Record(example_event()), base::Record(example_document())}) {
    std::string body = *serialise(record);
    for (std::size_t n = 0; n <= body.size(); ++n) {
      const auto prefix = parse(bytes_of(body).first(n), kind_of(record));
      if (!prefix) {
        EXPECT_FALSE(prefix.error().detail.empty());
      }
    }
    for (std::size_t bit = 0; bit < 8 * body.size(); ++bit) {
      body[bit / 8] = static_cast<char>(body[bit / 8] ^ (1 << (bit % 8)));
      const auto flipped = parse(bytes_of(body), kind_of(record));
      // What is let through can be written again.
      if (flipped) {
        EXPECT_TRUE(serialise(*flipped).has_value());
      }
      body[bit / 8] = static_cast<char>(body[bit / 8] ^ (1 << (bit % 8)));
    }
  }
}

}  // namespace
}  // namespace crestgate::protocol
