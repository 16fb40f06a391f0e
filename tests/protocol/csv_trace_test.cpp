// SPDX-License-Identifier: Apache-2.0
#include "protocol/exchange/csv_trace.h"

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace crestgate::protocol {
namespace {

using testing::HasSubstr;

CsvTrace parsed(const std::string& text) {
  auto trace = parse_csv_trace(text, "t.csv");
  EXPECT_TRUE(trace.has_value()) << trace.error().detail;
  return trace ? std::move(*trace) : CsvTrace{};
}

std::string refusal(const std::string& text) {
  const auto trace = parse_csv_trace(text, "t.csv");
  EXPECT_FALSE(trace.has_value()) << text;
  if (trace.has_value()) return "";
  EXPECT_EQ(trace.error().code, base::ErrorCode::kMalformed);
  for (const char c : trace.error().detail) EXPECT_TRUE(c >= ' ' && c <= '~') << trace.error().detail;
  return trace.error().detail;
}

struct Column {
  std::string name;
  double expected;  // of 3 in that unit, in mm or um
};

// Metre units by definition; 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
const std::vector<Column> kLengths{{"x_mm", 3.0},  {"x_um", 0.003},   {"x_nm", 0.000003},  {"x_m", 3000.0},
                                   {"x_in", 76.2}, {"x_mil", 0.0762}, {"x_uin", 0.0000762}};
const std::vector<Column> kHeights{{"z_um", 3.0},     {"z_nm", 0.003}, {"z_mm", 3000.0}, {"z_m", 3000000.0},
                                   {"z_in", 76200.0}, {"z_mil", 76.2}, {"z_uin", 0.0762}};

TEST(CsvTrace, EveryUnitOfXGoesWithEveryUnitOfZToTheLastBit) {
  for (const Column& x : kLengths) {
    for (const Column& z : kHeights) {
      const CsvTrace trace = parsed(x.name + "," + z.name + "\n0,3\n3,-3\n");
      EXPECT_EQ(trace.spacing_mm, x.expected) << x.name;
      EXPECT_EQ(trace.heights_um, (std::vector<double>{z.expected, -z.expected})) << z.name;
    }
  }
}

TEST(CsvTrace, MicroinchesAreTheDoublesOfTheirMicrometres) {
  // Typed in micrometres, 0.0254 times each.
  const CsvTrace metric = parsed("x_mm,z_um\n0,0.0762\n1,0.1778\n2,31.2928\n3,0.000254\n");
  const CsvTrace inch = parsed("x_in,z_uin\n0,3\n1,7\n2,1232\n3,0.01\n");
  EXPECT_EQ(inch.heights_um, metric.heights_um);
  EXPECT_EQ(inch.spacing_mm, 25.4);
}

TEST(CsvTrace, EmptyAndNanHeightsAreMissing) {
  const CsvTrace trace = parsed("x_mm,z_um\n0,1\n1,\n2,nan\n3, NaN \n4,NAN\n5,2\n");
  ASSERT_EQ(trace.heights_um.size(), 6U);
  for (const std::size_t i : {1U, 2U, 3U, 4U}) EXPECT_TRUE(std::isnan(trace.heights_um[i])) << i;
  EXPECT_EQ(trace.heights_um[5], 2.0);
}

TEST(CsvTrace, BlanksCarriageReturnsAndAByteOrderMarkDoNotMatter) {
  EXPECT_EQ(parsed("\xEF\xBB\xBFx_mm , z_um\r\n0 , +1.5\r\n\r\n1,\t2e-1\r\n").heights_um,
            (std::vector<double>{1.5, 0.2}));
}

TEST(CsvTrace, ErrorsNameTheLine) {
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\n\n1,2\n2,abc\n3,4\n"), "t.csv line 5: expected a height, found 'abc'");
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\nnan,2\n"), "t.csv line 3: expected a position, found 'nan'");
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\n,2\n"), "t.csv line 3: expected a position, found ''");
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\n1,2,3\n"), "t.csv line 3: expected two values, found '1,2,3'");
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\n12\n"), "t.csv line 3: expected two values, found '12'");
  EXPECT_EQ(refusal("x_mm,z_um\n0,1\n1,2\n2.2,3\n3,4\n"),
            "t.csv line 4: expected equal spacing, here 1 mm; this sample is out of place");
  EXPECT_THAT(refusal("x_mm,z_um\n1,1\n0,2\n"), HasSubstr("t.csv line 3: expected positions that grow"));
  EXPECT_THAT(refusal("x_mm,z_um\n1,1\n"), HasSubstr("expected at least two samples, found 1"));
  EXPECT_THAT(refusal(""), HasSubstr("t.csv line 1: expected a header"));
}

TEST(CsvTrace, RefusesUnknownColumnsAndUnits) {
  for (const char* header : {"x,z", "x_mm;z_um", "z_um,x_mm", "x_ft,z_um", "x_mm,z_thou", "x_mm,z_um,t_s",
                             "x_mm", "X_MM,Z_UM", "x_mm z_um"}) {
    EXPECT_THAT(refusal(std::string(header) + "\n0,1\n1,2\n"), HasSubstr("line 1: expected a header"))
        << header;
  }
  EXPECT_THAT(refusal("x_ft,z_um\n0,1\n"), HasSubstr("x_in x_mil x_uin"));
}

TEST(CsvTrace, OnlyFiniteNumbersGetIn) {
  for (const char* height : {"inf", "-inf", "1e400", "0x10", "1,", "1 2", "--1", "+-1", "1.5um", "-nan"}) {
    EXPECT_FALSE(parse_csv_trace("x_mm,z_um\n0,1\n1," + std::string(height) + "\n", "t").has_value())
        << height;
  }
  // Finite in the file's unit, but not in ours.
  EXPECT_EQ(refusal("x_mm,z_m\n0,1\n1,1e306\n"), "t.csv line 3: expected a height, found '1e306'");
  EXPECT_EQ(refusal("x_m,z_um\n0,1\n1e306,1\n"), "t.csv line 3: expected a position, found '1e306'");
  EXPECT_THAT(refusal("x_mm,z_um\n-1.7e308,1\n1.7e308,1\n"), HasSubstr("expected positions that grow"));
  EXPECT_THAT(refusal("x_nm,z_um\n0,1\n1e-320,1\n"), HasSubstr("expected positions that grow"));
}

TEST(CsvTrace, ErrorsStayShortAndPrintableWhateverTheFileHolds) {
  EXPECT_LT(refusal("x_mm,z_um\n0,1\n1," + std::string(100000, 'q') + "\n").size(), 200U);
  EXPECT_THAT(refusal(std::string("x_mm,z_um\n0,1\n1,\x1b[31m\xff\n")), HasSubstr("'?[31m?'"));
  EXPECT_LT(refusal(std::string(100000, '\x01')).size(), 300U);
}

TEST(CsvTrace, WhatIsWrittenReadsBackToTheBit) {
  const std::vector<double> heights_um{0.1, -1.0 / 3.0, std::numeric_limits<double>::quiet_NaN(), 1e-9,
                                       123456.789};
  const CsvTrace trace = parsed(format_csv_trace(0.0005, heights_um));
  EXPECT_DOUBLE_EQ(trace.spacing_mm, 0.0005);
  ASSERT_EQ(trace.heights_um.size(), heights_um.size());
  for (std::size_t i = 0; i < heights_um.size(); ++i) {
    EXPECT_TRUE(trace.heights_um[i] == heights_um[i] || (i == 2 && std::isnan(trace.heights_um[i]))) << i;
  }
}

}  // namespace
}  // namespace crestgate::protocol
