// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/markup/html_text.h"

#include <cstdio>
#include <utility>

#include "base/expects.h"

namespace crestgate::report {

std::string escaped(std::string_view text) {
  std::string markup;
  markup.reserve(text.size());
  for (const char c : text) {
    switch (c) {
      case '&':
        markup += "&amp;";
        break;
      case '<':
        markup += "&lt;";
        break;
      case '>':
        markup += "&gt;";
        break;
      case '"':
        markup += "&quot;";
        break;
      default: {
        const auto byte = static_cast<unsigned char>(c);
        markup.push_back(byte < 0x20 || byte == 0x7F ? ' ' : c);
      }
    }
  }
  return markup;
}

std::string sentence(std::string_view text) {
  std::string markup = escaped(text);
  if (!markup.empty() && markup.front() >= 'a' && markup.front() <= 'z')
    markup.front() = static_cast<char>(markup.front() - 'a' + 'A');
  return markup;
}

std::string hex_word(unsigned word) {
  char text[12];
  std::snprintf(text, sizeof text, "%04Xh", word);
  return text;
}

std::string range_text(Range range) {
  const auto padded = [&range](unsigned number) {
    std::string text = std::to_string(number);
    while (text.size() < range.width) text.insert(text.begin(), '0');
    return text;
  };
  if (range.count == 1) return padded(range.first);
  return padded(range.first) + "-" + padded(range.first + range.count - 1);
}

namespace {

std::string class_attribute(std::string_view css_class) {
  return css_class.empty() ? "" : " class=\"" + std::string(css_class) + "\"";
}

}  // namespace

HtmlTable::HtmlTable(std::string_view caption, std::string_view css_class,
                     std::initializer_list<Column> columns)
    : columns_(columns) {
  head_ =
      "<table" + class_attribute(css_class) + ">\n<caption>" + escaped(caption) + "</caption>\n<colgroup>";
  for (const Column& column : columns_) head_ += "<col" + class_attribute(column.css_class) + " />";
  head_ += "</colgroup>\n<thead><tr>";
  for (const Column& column : columns_) {
    head_ += "<th scope=\"col\"";
    head_ += class_attribute(column.css_class);
    head_ += ">" + escaped(column.heading) + "</th>";
  }
  head_ += "</tr></thead>\n";
}

void HtmlTable::group(std::string_view heading, std::size_t rows) {
  if (open_) rows_ += "</tbody>\n";
  rows_ += "<tbody class=\"group\">\n";
  open_ = true;
  grouped_ = true;
  group_heading_ =
      "<th scope=\"rowgroup\" rowspan=\"" + std::to_string(rows) + "\">" + sentence(heading) + "</th>";
}

void HtmlTable::row(std::initializer_list<std::string> cells, std::string_view id) {
  const std::size_t first = grouped_ ? 1 : 0;
  CRESTGATE_EXPECTS(cells.size() + first == columns_.size());
  if (!open_) rows_ += "<tbody>\n";
  open_ = true;
  rows_ += id.empty() ? "<tr>" : "<tr id=\"" + escaped(id) + "\">";
  rows_ += std::exchange(group_heading_, "");
  std::size_t i = first;
  for (const std::string& cell : cells) {
    const std::string_view tag = i == first ? "th" : "td";
    rows_ += "<";
    rows_ += tag;
    if (i == first) rows_ += " scope=\"row\"";
    rows_ += class_attribute(columns_[i].css_class);
    rows_ += ">";
    rows_ += cell;
    rows_ += "</";
    rows_ += tag;
    rows_ += ">";
    ++i;
  }
  rows_ += "</tr>\n";
}

std::string HtmlTable::markup() const { return head_ + rows_ + (open_ ? "</tbody>\n" : "") + "</table>\n"; }

}  // namespace crestgate::report
