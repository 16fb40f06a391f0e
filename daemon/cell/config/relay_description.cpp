// SPDX-License-Identifier: Apache-2.0
// The text file that describes a relay box or tower: RELAY.md is its page.

#include <array>
#include <string>
#include <utility>

#include "daemon/cell/config/output_description.h"
#include "daemon/cell/config/table_reader.h"

namespace crestgate::cell {
namespace {

constexpr std::array<std::pair<std::string_view, std::string_view>, 3> kLineEnds = {
    {{"CRLF", "\r\n"}, {"CR", "\r"}, {"LF", "\n"}}};
constexpr std::array<std::pair<std::string_view, driver::Parity>, 3> kParities = {
    {{"none", driver::Parity::kNone}, {"even", driver::Parity::kEven}, {"odd", driver::Parity::kOdd}}};

void read_serial(TableReader& table, driver::SerialOptions& serial) {
  serial.baud = static_cast<std::uint32_t>(table.integer("baud", 300, 4'000'000));
  serial.parity = table.choice_if_given<driver::Parity>("parity", kParities).value_or(serial.parity);
  serial.two_stop_bits = table.truth_if_given("two_stop_bits").value_or(false);
  serial.rts_cts = table.truth_if_given("rts_cts").value_or(false);
}

std::chrono::milliseconds read_time(TableReader& table, std::string_view key,
                                    std::chrono::milliseconds preset) {
  return std::chrono::milliseconds(table.integer_if_given(key, 0, 60'000).value_or(preset.count()));
}

}  // namespace

base::Result<driver::RelayDialect> read_relay_dialect(std::string_view text, const std::string& source) {
  auto document = parse_document(text, source);
  if (!document) return document.error();
  Complaints complaints(source);
  TableReader root(*document, "", complaints);
  driver::RelayDialect dialect;
  root.integer("format", 1, 1);
  dialect.name = root.text("name");
  read_serial(root, dialect.serial);
  dialect.line_end = root.choice<std::string_view>("line_end", kLineEnds);
  dialect.reset = root.texts_if_given("reset");
  dialect.reset_pause = read_time(root, "reset_pause_ms", dialect.reset_pause);
  dialect.reply_timeout = read_time(root, "reply_timeout_ms", dialect.reply_timeout);
  dialect.refresh = read_time(root, "refresh_ms", dialect.refresh);
  dialect.falls_after = read_time(root, "falls_after_ms", dialect.falls_after);
  for (TableReader& table : root.tables("light")) {
    driver::RelayLight light;
    light.on = table.text("on");
    light.off = table.text("off");
    light.reply = table.text_if_given("reply").value_or("");
    table.finish();
    dialect.lights.push_back(std::move(light));
  }
  if (!complaints.first()) root.finish();
  if (complaints.first()) return *complaints.first();
  if (const auto checked = driver::check_relay(dialect); !checked) {
    return base::Error{base::ErrorCode::kInvalidConfig, source + ": " + checked.error().detail};
  }
  return dialect;
}

}  // namespace crestgate::cell
