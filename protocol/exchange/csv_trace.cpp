// SPDX-License-Identifier: Apache-2.0
#include "protocol/exchange/csv_trace.h"

#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <utility>

namespace crestgate::protocol {
namespace {

using Unit = std::pair<std::string_view, double>;
constexpr std::array<Unit, 5> kLengthColumns = {
    {{"x_mm", 1.0}, {"x_um", 1e-3}, {"x_m", 1e3}, {"x_in", 25.4}, {"x_mil", 0.0254}}};  // to millimetres
constexpr std::array<Unit, 6> kHeightColumns = {{{"z_um", 1.0},
                                                 {"z_nm", 1e-3},
                                                 {"z_mm", 1e3},
                                                 {"z_m", 1e6},
                                                 {"z_uin", 0.0254},
                                                 {"z_in", 25400.0}}};  // to micrometres
constexpr double kSpacingTolerance = 0.05;  // of the spacing: rounding in the file, not a resampled trace

template <std::size_t N>
std::optional<double> factor_of(const std::array<Unit, N>& columns, std::string_view name) {
  for (const auto& [known, factor] : columns) {
    if (known == name) return factor;
  }
  return std::nullopt;
}

std::string_view trimmed(std::string_view text) {
  const auto is_blank = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

std::optional<double> as_number(std::string_view text) {
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  double value = 0.0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
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
    const auto x_factor = names ? factor_of(kLengthColumns, names->first) : std::nullopt;
    const auto z_factor = names ? factor_of(kHeightColumns, names->second) : std::nullopt;
    if (!x_factor || !z_factor) {
      return complain(
          1, "expected a header like x_mm,z_um, found '" + std::string(trimmed(line.substr(0, 60))) + "'");
    }
    x_factor_ = *x_factor;
    z_factor_ = *z_factor;
    return true;
  }

  bool read_rows() {
    std::string_view line;
    while (lines_.next(line)) {
      if (trimmed(line).empty()) continue;
      const auto fields = two_fields(line);
      if (!fields) {
        return complain(lines_.number(),
                        "expected two values, found '" + std::string(line.substr(0, 60)) + "'");
      }
      const auto x = as_number(fields->first);
      if (!x || !std::isfinite(*x)) {
        return complain(lines_.number(), "expected a number, found '" + std::string(fields->first) + "'");
      }
      double z = std::numeric_limits<double>::quiet_NaN();
      if (!fields->second.empty() && fields->second != "nan" && fields->second != "NaN") {
        const auto height = as_number(fields->second);
        if (!height || !std::isfinite(*height)) {
          return complain(lines_.number(), "expected a height, found '" + std::string(fields->second) + "'");
        }
        z = *height * z_factor_;
      }
      positions_mm_.push_back(*x * x_factor_);
      row_lines_.push_back(lines_.number());
      trace_.heights_um.push_back(z);
    }
    return true;
  }

  bool check_spacing() {
    const std::size_t count = positions_mm_.size();
    if (count < 2)
      return complain(lines_.number(), "expected at least two samples, found " + std::to_string(count));
    const double spacing = (positions_mm_.back() - positions_mm_.front()) / static_cast<double>(count - 1);
    if (!(spacing > 0.0)) return complain(row_lines_.back(), "expected positions that grow");
    for (std::size_t i = 0; i < count; ++i) {
      const double place = positions_mm_.front() + spacing * static_cast<double>(i);
      if (std::abs(positions_mm_[i] - place) > kSpacingTolerance * spacing) {
        return complain(row_lines_[i], "expected equal spacing of " + std::to_string(spacing * 1000.0) +
                                           " um; this sample is out of place");
      }
    }
    trace_.spacing_mm = spacing;
    return true;
  }

  Lines lines_;
  const std::string& source_;
  double x_factor_ = 1.0;
  double z_factor_ = 1.0;
  std::vector<double> positions_mm_;
  std::vector<std::size_t> row_lines_;
  CsvTrace trace_;
  std::optional<base::Error> error_;
};

void append_number(std::string& text, double value) {
  std::array<char, 32> buffer{};
  const auto [end, failure] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  if (failure == std::errc{}) text.append(buffer.data(), end);
}

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
