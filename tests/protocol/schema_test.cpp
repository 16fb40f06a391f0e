// SPDX-License-Identifier: Apache-2.0
// The schema is a promise: once released, no field changes its number, name, type or presence.

#include <algorithm>
#include <set>
#include <sstream>
#include <string>

#include <google/protobuf/descriptor.h>
#include <gtest/gtest.h>

#include "base/reason.h"
#include "crestgate/record/v1/reason.pb.h"
#include "protocol/golden.h"

namespace crestgate::protocol {
namespace {

namespace pb = google::protobuf;

void describe_enum(const pb::EnumDescriptor& type, std::set<std::string>& lines) {
  for (int i = 0; i < type.value_count(); ++i) {
    lines.insert(type.full_name() + " value " + type.value(i)->name() + " = " +
                 std::to_string(type.value(i)->number()));
  }
}

void describe_message(const pb::Descriptor& type, std::set<std::string>& lines) {
  for (int i = 0; i < type.field_count(); ++i) {
    const pb::FieldDescriptor& field = *type.field(i);
    std::string line =
        type.full_name() + " field " + field.name() + " = " + std::to_string(field.number()) + " ";
    line += field.is_repeated() ? "repeated " : field.has_presence() ? "optional " : "plain ";
    line += field.type_name();
    if (field.message_type() != nullptr) line += " " + field.message_type()->full_name();
    if (field.enum_type() != nullptr) line += " " + field.enum_type()->full_name();
    if (field.is_packed()) line += " packed";
    lines.insert(line);
  }
}

std::set<std::string> lines_of_schema() {
  std::set<std::string> lines;
  for (const char* name : {"document", "event", "identity", "judgement", "reason", "traverse"}) {
    const pb::FileDescriptor* file = pb::DescriptorPool::generated_pool()->FindFileByName(
        std::string("crestgate/record/v1/") + name + ".proto");
    if (file == nullptr) {
      ADD_FAILURE() << name;
      continue;
    }
    for (int i = 0; i < file->message_type_count(); ++i) describe_message(*file->message_type(i), lines);
    for (int i = 0; i < file->enum_type_count(); ++i) describe_enum(*file->enum_type(i), lines);
  }
  return lines;
}

TEST(Schema, KeepsEveryFieldOfTheBaseline) {
  const std::set<std::string> schema = lines_of_schema();
  std::string text;
  for (const std::string& line : schema) text += line + "\n";
  expect_golden("record/v1/schema_baseline.txt", text);
}

TEST(Schema, EveryEnumerationBeginsWithAnUnspecifiedZero) {
  for (const std::string& line : lines_of_schema()) {
    if (line.find(" value ") == std::string::npos || !line.ends_with(" = 0")) continue;
    EXPECT_TRUE(line.ends_with("_UNSPECIFIED = 0")) << line;
  }
}

TEST(Schema, ReasonsHaveTheSameNumbersAndNamesOnBothSides) {
  const pb::EnumDescriptor& type = *crestgate::record::v1::Reason_descriptor();
  EXPECT_EQ(static_cast<std::size_t>(type.value_count()), base::kReasonTexts.size());
  for (const base::ReasonText& text : base::kReasonTexts) {
    const pb::EnumValueDescriptor* value = type.FindValueByNumber(static_cast<int>(text.reason));
    ASSERT_NE(value, nullptr) << text.name;
    std::string name =
        "REASON_" + std::string(text.reason == base::Reason::kNone ? "unspecified" : text.name);
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return std::toupper(c); });
    EXPECT_EQ(value->name(), name);
  }
}

}  // namespace
}  // namespace crestgate::protocol
