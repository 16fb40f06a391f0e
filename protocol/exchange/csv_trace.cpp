// SPDX-License-Identifier: Apache-2.0
#include "protocol/exchange/csv_trace.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <utility>

namespace crestgate::protocol {
namespace {

// A factor as a fraction of two exact numbers: value * numerator / denominator is the double nearest to the
// metric value, or next to it; value * 0.0254 would not be, since 0.0254 itself is none.
struct Unit {
  std::string_view column;
  double numerator;
  double denominator;
  [[nodiscard]] double convert(double value) const { return value * numerator / denominator; }
};

constexpr std::array<Unit, 7> kLengthColumns = {{{"x_mm", 1.0, 1.0},
                                                 {"x_um", 1.0, 1e3},
                                                 {"x_nm", 1.0, 1e6},
                                                 {"x_m", 1e3, 1.0},
                                                 {"x_in", 254.0, 10.0},
                                                 {"x_mil", 254.0, 1e4},
                                                 {"x_uin", 254.0, 1e7}}};  // to millimetres
constexpr std::array<Unit, 7> kHeightColumns = {{{"z_um", 1.0, 1.0},
                                                 {"z_nm", 1.0, 1e3},
                                                 {"z_mm", 1e3, 1.0},
                                                 {"z_m", 1e6, 1.0},
                                                 {"z_in", 25400.0, 1.0},
                                                 {"z_mil", 254.0, 10.0},
                                                 {"z_uin", 254.0, 1e4}}};  // to micrometres
constexpr double kSpacingTolerance = 0.05;  // of the spacing: rounding in the file, not a resampled trace

const Unit* unit_of(std::span<const Unit> columns, std::string_view name) {
  const auto found = std::ranges::find(columns, name, &Unit::column);
  return found == columns.end() ? nullptr : &*found;
}

std::string listed(std::span<const Unit> columns) {
  std::string text;
  for (const Unit& unit : columns) text += (text.empty() ? "" : " ") + std::string(unit.column);
  return text;
}

// What a person needs to see of a cell: its beginning, on one line whatever bytes it holds.
std::string quoted(std::string_view text) {
  constexpr std::size_t kMostShown = 60;
  std::string shown = "'";
  for (const char c : text.substr(0, kMostShown)) shown += c >= ' ' && c <= '~' ? c : '?';
  return shown + (text.size() > kMostShown ? "...'" : "'");
}

bool is_missing(std::string_view cell) {
  return cell.empty() || cell == "nan" || cell == "NaN" || cell == "NAN";
}

void append_number(std::string& text, double value) {
  std::array<char, 32> buffer{};
  const auto [end, failure] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  if (failure == std::errc{}) text.append(buffer.data(), end);
}

std::string_view trimmed(std::string_view text) {
  const auto is_blank = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

std::optional<double> as_number(std::string_view text) {
  if (text.starts_with('+') && !text.starts_with("+-")) text.remove_prefix(1);
  double value = 0.0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

// Empty: no number, or one that is not finite in our unit.
std::optional<double> converted(std::string_view cell, const Unit& unit) {
  const auto value = as_number(cell);
  if (!value || !std::isfinite(unit.convert(*value))) return std::nullopt;
  return unit.convert(*value);
}

class Lines {
 public:
  explicit Lines(std::string_view text) : rest_(text) {}
  bool next(std::string_view& line) {
    if (rest_.empty()) return false;
    const std::size_t end = rest_.find('\n');
    line = rest_.substr(0, end);
    rest_ = end == std::string_view::npos ? std::string_view{} : rest_.substr(end + 1);
    ++number_;
    return true;
  }
  [[nodiscard]] std::size_t number() const { return number_; }

 private:
  std::string_view rest_;
  std::size_t number_ = 0;
};

// Two fields of one row; empty when there are not exactly two.
std::optional<std::pair<std::string_view, std::string_view>> two_fields(std::string_view line) {
  const std::size_t comma = line.find(',');
  if (comma == std::string_view::npos || line.find(',', comma + 1) != std::string_view::npos)
    return std::nullopt;
  return std::pair{trimmed(line.substr(0, comma)), trimmed(line.substr(comma + 1))};
}

class Parser {
 public:
  Parser(std::string_view text, const std::string& source) : lines_(text), source_(source) {}

  base::Result<CsvTrace> parse() {
    if (!read_header() || !read_rows() || !check_spacing()) return *error_;
    return std::move(trace_);
  }

 private:
  bool complain(std::size_t line, const std::string& what) {
    error_ =
        base::Error{base::ErrorCode::kMalformed, source_ + " line " + std::to_string(line) + ": " + what};
    return false;
  }

  bool read_header() {
    std::string_view line;
    if (!lines_.next(line)) return complain(1, "expected a header like x_mm,z_um; the file is empty");
    const auto names = two_fields(line);
    x_unit_ = names ? unit_of(kLengthColumns, names->first) : nullptr;
    z_unit_ = names ? unit_of(kHeightColumns, names->second) : nullptr;
    if (x_unit_ == nullptr || z_unit_ == nullptr) {
      return complain(1, "expected a header like x_mm,z_um (one of " + listed(kLengthColumns) +
                             ", then one of " + listed(kHeightColumns) + "), found " + quoted(trimmed(line)));
    }
    return true;
  }

  bool read_rows() {
    std::string_view line;
    while (lines_.next(line)) {
      if (trimmed(line).empty()) continue;
      const auto fields = two_fields(line);
      if (!fields) return complain(lines_.number(), "expected two values, found " + quoted(trimmed(line)));
      const auto x = as_number(fields->first);
      if (!x || !std::isfinite(x_unit_->convert(*x)))
        return complain(lines_.number(), "expected a position, found " + quoted(fields->first));
      std::optional<double> z_um = std::numeric_limits<double>::quiet_NaN();
      if (!is_missing(fields->second)) z_um = converted(fields->second, *z_unit_);
      if (!z_um) return complain(lines_.number(), "expected a height, found " + quoted(fields->second));
      positions_.push_back(*x);
      row_lines_.push_back(lines_.number());
      trace_.heights_um.push_back(*z_um);
    }
    return true;
  }

  bool check_spacing() {
    const std::size_t count = positions_.size();
    if (count < 2)
      return complain(lines_.number(), "expected at least two samples, found " + std::to_string(count));
    const double spacing = (positions_.back() - positions_.front()) / static_cast<double>(count - 1);
    trace_.spacing_mm = x_unit_->convert(spacing);
    if (!(trace_.spacing_mm > 0.0) || !std::isfinite(trace_.spacing_mm)) {
      return complain(row_lines_.back(), "expected positions that grow");
    }
    for (std::size_t i = 0; i < count; ++i) {
      const double place = positions_.front() + spacing * static_cast<double>(i);
      if (std::abs(positions_[i] - place) <= kSpacingTolerance * spacing) continue;
      std::string complaint = "expected equal spacing, here ";
      append_number(complaint, trace_.spacing_mm);
      return complain(row_lines_[i], complaint + " mm; this sample is out of place");
    }
    return true;
  }

  Lines lines_;
  const std::string& source_;
  const Unit* x_unit_ = nullptr;
  const Unit* z_unit_ = nullptr;
  std::vector<double> positions_;  // in the file's unit: equal steps there stay equal
  std::vector<std::size_t> row_lines_;
  CsvTrace trace_;
  std::optional<base::Error> error_;
};

}  // namespace

base::Result<CsvTrace> parse_csv_trace(std::string_view text, const std::string& source) {
  constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
  if (text.substr(0, kByteOrderMark.size()) == kByteOrderMark) text.remove_prefix(kByteOrderMark.size());
  return Parser(text, source).parse();
}

std::string format_csv_trace(double spacing_mm, std::span<const double> heights_um) {
  std::string text = "x_mm,z_um\n";
  for (std::size_t i = 0; i < heights_um.size(); ++i) {
    append_number(text, spacing_mm * static_cast<double>(i));
    text += ',';
    if (std::isnan(heights_um[i])) {
      text += "nan";
    } else {
      append_number(text, heights_um[i]);
    }
    text += '\n';
  }
  return text;
}

}  // namespace crestgate::protocol
