// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/describe.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <span>
#include <string_view>

#include "base/utf8.h"
#include "protocol/convert/digest.h"
#include "protocol/convert/problems.h"

namespace crestgate::protocol {
namespace {

constexpr std::string_view kNotKnown = "not known";
constexpr std::int64_t kNsPerDay = 86'400'000'000'000;
constexpr std::size_t kHeightsShown = 8;

void append_escaped(std::string& text, char c) {
  const auto byte = static_cast<unsigned char>(c);
  if (c == '"' || c == '\\') {
    text.push_back('\\');
    text.push_back(c);
  } else if (byte < 0x20U || byte == 0x7FU) {
    std::array<char, 5> hex{};
    std::snprintf(hex.data(), hex.size(), "\\x%02X", byte);
    text.append(hex.data());
  } else {
    text.push_back(c);
  }
}

std::string quoted(std::string_view value) {
  std::string text = "\"";
  for (const char c : value) append_escaped(text, c);
  return text + "\"";
}

std::string with_unit(double value, std::string_view unit) {
  std::string text = to_text(value);
  if (!unit.empty()) text.append(" ").append(unit);
  return text;
}

// ISO 8601, UTC, all nine digits of the fraction.
std::string utc_text(base::UtcInstant instant) {
  std::int64_t day = instant.unix_ns / kNsPerDay;
  std::int64_t rest = instant.unix_ns % kNsPerDay;
  if (rest < 0) {
    rest += kNsPerDay;
    --day;
  }
  const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{day}}};
  const auto second = static_cast<int>(rest / 1'000'000'000);
  std::array<char, 48> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%09dZ",
                static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                static_cast<unsigned>(date.day()), second / 3600, second / 60 % 60, second % 60,
                static_cast<int>(rest % 1'000'000'000));
  return text.data();
}

class Description {
 public:
  void line(std::string_view name, std::string_view value) {
    text_.append(prefix_).append(name).append(": ").append(value).append("\n");
  }
  void text(std::string_view name, std::string_view value) { line(name, quoted(value)); }
  void text_or_not_known(std::string_view name, const std::optional<std::string>& value) {
    line(name, value ? quoted(*value) : kNotKnown);
  }
  void whole(std::string_view name, std::uint64_t value) { line(name, std::to_string(value)); }
  template <class Number>
  void whole(std::string_view name, const std::optional<Number>& value) {
    line(name, value ? std::to_string(*value) : kNotKnown);
  }
  void number(std::string_view name, double value, std::string_view unit) {
    line(name, with_unit(value, unit));
  }
  void number(std::string_view name, const std::optional<double>& value, std::string_view unit,
              std::string_view absent = kNotKnown) {
    line(name, value ? with_unit(*value, unit) : absent);
  }
  void utc(std::string_view name, base::UtcInstant instant) { line(name, utc_text(instant)); }
  void monotonic(std::string_view name, base::MonotonicInstant instant) {
    line(name, std::to_string(instant.ns) + " ns on the monotonic clock");
  }
  void digest(std::string_view name, const base::Digest& digest) {
    line(name, digest == base::Digest{} ? "none" : "sha256 " + to_hex(digest));
  }
  void reason(std::string_view name, base::Reason reason) {
    const base::ReasonText known = text_of(reason);
    line(name, std::to_string(static_cast<unsigned>(reason)) + " " + std::string(known.name) + " (" +
                   std::string(known.sentence) + ")");
  }
  void set_prefix(std::string prefix) { prefix_ = std::move(prefix); }
  std::string take() { return std::move(text_); }

 private:
  std::string prefix_;
  std::string text_;
};

template <class Enum, std::size_t kCount>
std::string named(Enum value, const std::array<std::string_view, kCount>& names) {
  const auto index = static_cast<std::size_t>(value);
  return index < kCount ? std::string(names[index]) : "unknown value " + std::to_string(index);
}

constexpr std::array<std::string_view, 3> kStandings = {kNotKnown, "proved", "unproved"};
constexpr std::array<std::string_view, 3> kPickups = {kNotKnown, "skidless", "skidded"};
constexpr std::array<std::string_view, 3> kVerdicts = {"none", "accept", "reject"};
constexpr std::array<std::string_view, 7> kFates = {"none",       "pass",          "rework",         "scrap",
                                                    "quarantine", "measure again", "pass unmeasured"};
constexpr std::array<std::string_view, 4> kRules = {"unknown", "maximum", "sixteen percent", "median"};
constexpr std::array<std::string_view, 8> kDocumentKinds = {
    "unknown", "plan", "cell", "dialect", "certificate", "baseline", "budget", "fitted model"};

void describe_identity(Description& out, const base::PartIdentity& identity) {
  out.text_or_not_known("identity.part_id", identity.part_id);
  out.text_or_not_known("identity.batch", identity.batch);
  out.text_or_not_known("identity.machine", identity.machine);
  out.whole("identity.stage", identity.stage);
  out.whole("identity.spindle", identity.spindle);
  out.whole("identity.wheel", identity.wheel);
  out.whole("identity.dress_count", identity.dress_count);
}

void describe_gauge(Description& out, const base::GaugeIdentity& gauge) {
  out.text("gauge.kind", gauge.kind);
  out.text("gauge.model", gauge.model);
  out.text("gauge.serial_number", gauge.serial_number);
  out.text("gauge.firmware", gauge.firmware);
  out.whole("gauge.boot_id", gauge.boot_id);
  out.line("gauge.pickup", named(gauge.pickup, kPickups));
  out.number("gauge.tip_radius", gauge.tip_radius_um, "um");
  out.number("gauge.range", gauge.range_um, "um peak to peak");
}

// In the order of the bits of base::QualityFlag.
constexpr std::array<std::string_view, 6> kQualities = {"over range",     "missing", "stylus lifted",
                                                        "speed unsteady", "resent",  "vibration"};

std::string quality_text(std::uint32_t bits) {
  if (bits == 0) return "good";
  std::string text;
  for (std::uint32_t bit = 0; bit < 32; ++bit) {
    if (((bits >> bit) & 1U) == 0) continue;
    if (!text.empty()) text.append(", ");
    text.append(bit < kQualities.size() ? std::string(kQualities[bit])
                                        : "unknown bit " + std::to_string(bit));
  }
  return text;
}

std::string count_text(std::int32_t count) {
  if (count == base::kMissingCount) return "missing";
  if (count == base::kOverRangeCount) return "over_range";
  return std::to_string(count);
}

void describe_heights(Description& out, const base::Heights& heights) {
  out.number("heights.spacing", heights.spacing_mm, "mm");
  out.number("heights.height_step", heights.height_step_um, "um");
  out.number("heights.speed", heights.speed_mm_per_s, "mm/s");
  out.line("heights.quality", quality_text(heights.quality));
  out.whole("heights.samples", heights.counts.size());
  std::string first;
  for (const std::int32_t count :
       std::span(heights.counts).first(std::min(kHeightsShown, heights.counts.size()))) {
    first.append(first.empty() ? "" : " ").append(count_text(count));
  }
  if (heights.counts.size() > kHeightsShown) first.append(" ...");
  out.line("heights.first", first.empty() ? "none" : first + " (counts)");
  std::optional<std::int32_t> lowest;
  std::optional<std::int32_t> highest;
  for (const std::int32_t count : heights.counts) {
    if (count == base::kMissingCount || count == base::kOverRangeCount) continue;
    lowest = std::min(lowest.value_or(count), count);
    highest = std::max(highest.value_or(count), count);
  }
  out.line("heights.lowest", lowest ? with_unit(*lowest * heights.height_step_um, "um") : "none");
  out.line("heights.highest", highest ? with_unit(*highest * heights.height_step_um, "um") : "none");
  const auto tally = [&heights](std::int32_t count) {
    return static_cast<std::uint64_t>(std::count(heights.counts.begin(), heights.counts.end(), count));
  };
  out.whole("heights.missing", tally(base::kMissingCount));
  out.whole("heights.over_range", tally(base::kOverRangeCount));
}

void describe_kind(Description& out, const base::Traverse& traverse) {
  describe_identity(out, traverse.identity);
  out.whole("attempt", traverse.attempt);
  out.text("cell", traverse.cell);
  out.text("plan", traverse.plan);
  out.whole("plan_stage", traverse.plan_stage);
  out.text("zone", traverse.zone);
  out.whole("zone_number", traverse.zone_number);
  out.whole("traverse_number", traverse.traverse_number);
  out.whole("request_id", traverse.request_id);
  out.number("position", traverse.position_mm, "mm");
  describe_gauge(out, traverse.gauge);
  out.line("standing", named(traverse.standing, kStandings));
  out.utc("started", traverse.started_utc);
  out.monotonic("started", traverse.started_monotonic);
  out.monotonic("finished", traverse.finished_monotonic);
  describe_heights(out, traverse.heights);
  out.digest("plan_digest", traverse.plan_digest);
  out.digest("cell_digest", traverse.cell_digest);
}

void describe_result(Description& out, const base::ParameterResult& result) {
  out.text("zone", result.zone);
  out.text("symbol", result.symbol);
  std::string values;
  for (const double value : result.values) {
    values.append(values.empty() ? "" : ", ").append(to_text(value));
  }
  if (!result.unit.empty() && !values.empty()) values.append(" ").append(result.unit);
  out.line("values", values.empty() ? "none" : values);
  out.number("decided", result.decided, result.unit);
  out.number("lower", result.lower, result.unit, "none");
  out.number("upper", result.upper, result.unit, "none");
  out.line("rule", result.rule ? named(*result.rule, kRules) : "not limited");
  out.line("verdict", named(result.verdict, kVerdicts));
  out.reason("reason", result.reason);
}

void describe_kind(Description& out, const base::Judgement& judgement) {
  describe_identity(out, judgement.identity);
  out.whole("attempt", judgement.attempt);
  out.text("cell", judgement.cell);
  out.text("plan", judgement.plan);
  out.whole("plan_stage", judgement.plan_stage);
  out.whole("request_id", judgement.request_id);
  out.whole("sequence", judgement.sequence);
  out.utc("judged", judgement.judged_utc);
  out.monotonic("judged", judgement.judged_monotonic);
  out.line("verdict", named(judgement.verdict, kVerdicts));
  out.reason("reason", judgement.reason);
  out.line("fate", named(judgement.fate, kFates));
  out.text("detail", judgement.detail);
  out.line("deciding", judgement.deciding ? "results[" + std::to_string(*judgement.deciding) + "]" : "none");
  out.text("software_version", judgement.software_version);
  out.line("standing", named(judgement.standing, kStandings));
  for (std::size_t i = 0; i < judgement.cites.size(); ++i) {
    out.line("cites[" + std::to_string(i) + "]", "record " +
                                                     std::to_string(judgement.cites[i].record_number) +
                                                     " sha256 " + to_hex(judgement.cites[i].digest));
  }
  for (std::size_t i = 0; i < judgement.results.size(); ++i) {
    out.set_prefix("results[" + std::to_string(i) + "].");
    describe_result(out, judgement.results[i]);
  }
}

void describe_kind(Description& out, const base::Event& event) {
  out.utc("happened", event.happened_utc);
  out.monotonic("happened", event.happened_monotonic);
  out.text("cell", event.cell);
  out.reason("reason", event.reason);
  out.text("what", event.what);
  out.text("detail", event.detail);
  out.text("software_version", event.software_version);
}

void describe_content(Description& out, std::string_view content) {
  if (!base::is_utf8(content)) {
    out.line("content", "not text; only its digest is shown");
    return;
  }
  // Every line of the content has a bar before it and cannot be taken for a field.
  out.set_prefix("  ");
  while (!content.empty()) {
    const std::size_t end = std::min(content.find('\n'), content.size());
    std::string escaped;
    for (const char c : content.substr(0, end)) {
      if (c == '\t' || c == '"' || c == '\\') {
        escaped.push_back(c);
      } else {
        append_escaped(escaped, c);
      }
    }
    out.line("|", escaped);
    content.remove_prefix(std::min(end + 1, content.size()));
  }
}

void describe_kind(Description& out, const base::Document& document) {
  out.line("kind", named(document.kind, kDocumentKinds));
  out.text("name", document.name);
  out.text("source", document.source);
  out.utc("recorded", document.recorded_utc);
  out.line("content_size", std::to_string(document.content.size()) + " bytes");
  out.line("content_digest", "sha256 " + to_hex(digest_of(std::as_bytes(std::span(document.content)))));
  describe_content(out, document.content);
}

}  // namespace

std::string describe(const base::Record& record) {
  Description out;
  std::visit([&out](const auto& kind) { describe_kind(out, kind); }, record);
  return out.take();
}

}  // namespace crestgate::protocol
