// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/timing_diagram.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "daemon/report/cabinet/seconds_text.h"
#include "daemon/report/markup/html_text.h"

namespace crestgate::report {
namespace {

// All in units of the drawing; 1000 of them are at least 255 mm wide on paper, so 12 are more than 8 pt.
constexpr int kWidth = 1000;
constexpr int kLeft = 176;  // of the time axis
constexpr int kRight = 992;
constexpr int kLaneHeight = 31;
constexpr int kRowHeight = 34;
constexpr int kPulse = 17;    // height of a level
constexpr int kSlope = 3;     // width of an edge
constexpr int kSideGap = 14;  // between what the PLC writes and what the cell answers
constexpr int kPlcHalfBeats = 23;
constexpr int kCellHalfBeats = 53;
constexpr double kTextSize = 12.5;
constexpr double kCharacter = 6.4;  // average width of one at that size, on the safe side

std::string number(double value) {
  const auto tenths = std::lround(value * 10.0);
  std::string text = std::to_string(tenths / 10);
  if (tenths % 10 != 0) text += "." + std::to_string(tenths % 10);
  return text;
}

struct TextStyle {
  std::string_view anchor = "start";
  bool bold = false;
  std::string_view fill = {};  // "" black
  double size = kTextSize;
  bool over_lines = false;  // with a white rim
};

std::string text_at(double x, double y, std::string_view text, const TextStyle& style = {}) {
  std::string markup =
      "<text x=\"" + number(x) + "\" y=\"" + number(y) + "\" font-size=\"" + number(style.size) + "\"";
  if (style.anchor != "start") markup += " text-anchor=\"" + std::string(style.anchor) + "\"";
  if (style.bold) markup += " font-weight=\"bold\"";
  if (!style.fill.empty()) markup += " style=\"fill:" + std::string(style.fill) + "\"";
  if (style.over_lines) markup += " class=\"on\"";
  return markup + ">" + escaped(text) + "</text>\n";
}

class Drawing {
 public:
  Drawing(const HandshakeTimeline& timeline, const cell::CellDescription& cell, std::string_view id)
      : timeline_(timeline), cell_(cell), id_(id) {
    for (const HandshakeStep& step : timeline.steps) lanes_ = std::max(lanes_, step.lane + 1);
  }

  std::string markup() {
    std::string body = guides() + brackets() + rows();
    const double height = bottom() + 6;
    return "<svg viewBox=\"0 0 " + std::to_string(kWidth) + " " + number(height) +
           "\" role=\"img\" aria-labelledby=\"" + id_ + "-title " + id_ + "-desc\">\n<title id=\"" + id_ +
           "-title\">" + escaped(timeline_.title) + "</title>\n<desc id=\"" + id_ + "-desc\">" +
           escaped(timeline_.description) + "</desc>\n<defs><marker id=\"" + id_ +
           "-tip\" viewBox=\"0 0 8 8\" refX=\"7\" refY=\"4\" markerWidth=\"7\" markerHeight=\"7\" "
           "orient=\"auto-start-reverse\"><path d=\"M0 0L8 4L0 8z\"/></marker></defs>\n" +
           body + "</svg>\n";
  }

 private:
  [[nodiscard]] double x(int at) const {
    return kLeft + static_cast<double>(kRight - kLeft) * at / timeline_.end;
  }
  [[nodiscard]] double rows_top() const { return lanes_ * kLaneHeight + 10; }
  [[nodiscard]] double bottom() const { return base_line(timeline_.rows.back()) + 8; }
  // The low level of a row.
  [[nodiscard]] double base_line(LineSignal signal) const {
    double y = rows_top();
    bool from_plc = true;
    for (const LineSignal row : timeline_.rows) {
      if (from_plc && !row_of(row).from_plc) {
        y += kSideGap;
        from_plc = false;
      }
      y += kRowHeight;
      if (row == signal) break;
    }
    return y;
  }
  [[nodiscard]] double middle(LineSignal signal) const { return base_line(signal) - kPulse / 2.0; }

  // ---- steps ----

  [[nodiscard]] std::string brackets() const {
    std::string svg;
    int step_number = 0;
    for (const HandshakeStep& step : timeline_.steps) {
      const double y = step.lane * kLaneHeight + 20.0;
      const double from = x(step.from);
      const double to = x(step.to);
      const double centre = (from + to) / 2;
      const std::string limit = limit_shortly(step.limit, cell_);
      svg += "<path d=\"M" + number(from) + " " + number(y - 7) + "v14M" + number(to) + " " + number(y - 7) +
             "v14M" + number(from) + " " + number(y) + "H" + number(to) +
             "\" stroke=\"#000\" stroke-width=\"1.2\" fill=\"none\"/>";
      const double half = 10 + (limit.empty() ? 0.0 : kCharacter * static_cast<double>(limit.size()) / 2 + 4);
      const double disc = centre - half + 10;
      if (!limit.empty()) {
        svg += "<rect x=\"" + number(centre - half) + "\" y=\"" + number(y - 9) + "\" width=\"" +
               number(2 * half) + "\" height=\"18\" fill=\"#fff\"/>";
      }
      svg += "<circle cx=\"" + number(disc) + "\" cy=\"" + number(y) + "\" r=\"9.5\" fill=\"#000\"/>\n" +
             text_at(disc, y + 4.5, std::to_string(++step_number),
                     {.anchor = "middle", .bold = true, .fill = "#fff"});
      if (!limit.empty()) svg += text_at(disc + 14, y + 4.5, limit);
    }
    return svg;
  }

  // From the bracket down to both ends of the step, and an arrow from the cause to the effect.
  [[nodiscard]] std::string guides() const {
    std::string svg = "<g stroke=\"#999\" stroke-width=\"0.8\" stroke-dasharray=\"3 3\">\n";
    for (const HandshakeStep& step : timeline_.steps) {
      const double y = step.lane * kLaneHeight + 27.0;
      svg += "<path d=\"M" + number(x(step.from)) + " " + number(y) + "V" + number(middle(step.cause)) + "M" +
             number(x(step.to)) + " " + number(y) + "V" + number(middle(step.effect)) + "\"/>\n";
    }
    svg += "</g>\n<g stroke=\"#000\" stroke-width=\"1\" fill=\"none\">\n";
    for (const HandshakeStep& step : timeline_.steps) {
      if (step.cause == step.effect || step.limit == StepLimit::kGreen) continue;  // a duration
      svg += "<path d=\"M" + number(x(step.from) + kSlope) + " " + number(middle(step.cause)) + "L" +
             number(x(step.to)) + " " + number(middle(step.effect)) + "\" marker-end=\"url(#" + id_ +
             "-tip)\"/>\n";
    }
    return svg + "</g>\n";
  }

  // ---- rows ----

  [[nodiscard]] std::string rows() const {
    std::string svg;
    for (std::size_t i = 0; i < timeline_.rows.size(); ++i) {
      const SignalRow& row = row_of(timeline_.rows[i]);
      const double low = base_line(row.signal);
      const bool first = i == 0 || row.from_plc != row_of(timeline_.rows[i - 1]).from_plc;
      if (first) svg += side_mark(row.from_plc, low);
      svg += text_at(kLeft - 8, low - 8.5, row.label, {.anchor = "end", .bold = true});
      svg += text_at(kLeft - 8, low + 4, row.where, {.anchor = "end", .size = 11.5});
      svg += "<path d=\"M" + std::to_string(kLeft) + " " + number(low + 7) + "H" + std::to_string(kRight) +
             "\" stroke=\"#ccc\" stroke-width=\"0.6\"/>\n";
      if (row.drawn == Drawn::kBeat) {
        svg += beat(low, row.from_plc ? kPlcHalfBeats : kCellHalfBeats);
      } else if (row.drawn == Drawn::kLevel) {
        svg += level(row.signal, low);
      } else {
        svg += values(row.signal, low);
      }
    }
    return svg;
  }

  [[nodiscard]] std::string side_mark(bool from_plc, double low) const {
    int count = 0;
    for (const LineSignal row : timeline_.rows) count += row_of(row).from_plc == from_plc ? 1 : 0;
    const double top = low - kPulse - 7;
    const double length = count * kRowHeight - 4.0;
    const double centre = top + length / 2;
    return "<rect x=\"1\" y=\"" + number(top) + "\" width=\"20\" height=\"" + number(length) +
           "\" fill=\"#e4e4e4\"/>\n<text transform=\"translate(15.5 " + number(centre) +
           ") rotate(-90)\" font-size=\"13\" font-weight=\"bold\" text-anchor=\"middle\">" +
           (from_plc ? "the PLC writes" : "the cell answers") + "</text>\n";
  }

  [[nodiscard]] std::vector<Transition> transitions(LineSignal signal) const {
    std::vector<Transition> found;
    for (const Transition& transition : timeline_.transitions) {
      if (transition.signal == signal) found.push_back(transition);
    }
    return found;
  }

  // Not from transitions: it goes on all the time, the cell's faster than the PLC's need be.
  [[nodiscard]] std::string beat(double low, int half_periods) const {
    std::string path = "M" + std::to_string(kLeft) + " " + number(low);
    for (int i = 1; i < half_periods; ++i) {
      const double edge = kLeft + static_cast<double>(kRight - kLeft) * i / half_periods;
      path += "H" + number(edge) + "V" + number(i % 2 == 1 ? low - kPulse : low);
    }
    return stroke(path + "H" + std::to_string(kRight));
  }

  [[nodiscard]] std::string level(LineSignal signal, double low) const {
    std::string path;
    for (const Transition& transition : transitions(signal)) {
      const double y = transition.value == "1" ? low - kPulse : low;
      if (path.empty()) {
        path = "M" + std::to_string(kLeft) + " " + number(y);
      } else {
        path += "H" + number(x(transition.at)) + "L" + number(x(transition.at) + kSlope) + " " + number(y);
      }
    }
    return stroke(path + "H" + std::to_string(kRight));
  }

  // Hexagons with the value inside; an absent or zero value is a line on the ground.
  [[nodiscard]] std::string values(LineSignal signal, double low) const {
    const std::vector<Transition> list = transitions(signal);
    std::string svg;
    for (std::size_t i = 0; i < list.size(); ++i) {
      const bool last = i + 1 == list.size();
      const double from = i == 0 ? kLeft : x(list[i].at);
      const double to = last ? kRight : x(list[i + 1].at);
      const double half = kPulse / 2.0;
      if (list[i].value.empty() || list[i].value == "0") {
        svg +=
            stroke("M" + number(from + (i == 0 ? 0 : kSlope)) + " " + number(low - half) + "H" + number(to));
        continue;
      }
      const double slope = std::min<double>(kSlope, (to - from) / 4);
      std::string path = i == 0 ? "M" + number(from) + " " + number(low - kPulse)
                                : "M" + number(from) + " " + number(low - half) + "L" + number(from + slope) +
                                      " " + number(low - kPulse);
      path += "H" + number(last ? to : to - slope);
      path +=
          last ? "M" + number(to) + " " + number(low)
               : "L" + number(to) + " " + number(low - half) + "L" + number(to - slope) + " " + number(low);
      path += "H" + number(i == 0 ? from : from + slope);
      if (i != 0) path += "L" + number(from) + " " + number(low - half);
      svg += stroke(path);
      svg +=
          text_at((from + to) / 2, low - half + 4.4, list[i].value, {.anchor = "middle", .over_lines = true});
    }
    return svg;
  }

  static std::string stroke(const std::string& path) {
    return "<path d=\"" + path +
           "\" stroke=\"#000\" stroke-width=\"1.7\" fill=\"none\" stroke-linejoin=\"round\"/>\n";
  }

  const HandshakeTimeline& timeline_;
  const cell::CellDescription& cell_;
  std::string id_;
  int lanes_ = 1;
};

}  // namespace

std::string limit_text(StepLimit limit, const cell::CellDescription& cell) {
  switch (limit) {
    case StepLimit::kNextPoll:
      return "the cell's next answer";
    case StepLimit::kNextScan:
      return "the PLC's next write";
    case StepLimit::kZoneTimeout:
      return seconds_text(cell.timing.zone_timeout_ms);
    case StepLimit::kTraverse:
      return "what the traverses take; the cell watches";
    case StepLimit::kAcknowledge:
      return seconds_text(cell.timing.acknowledge_timeout_ms);
    case StepLimit::kGreen:
      return seconds_text(cell.timing.green_limit_ms);
  }
  return "";
}

std::string limit_shortly(StepLimit limit, const cell::CellDescription& cell) {
  const bool timed =
      limit == StepLimit::kZoneTimeout || limit == StepLimit::kAcknowledge || limit == StepLimit::kGreen;
  return timed ? "max " + limit_text(limit, cell) : "";
}

std::string timing_diagram(const HandshakeTimeline& timeline, const cell::CellDescription& cell,
                           std::string_view id) {
  return Drawing(timeline, cell, id).markup();
}

std::string step_table(const HandshakeTimeline& timeline, const cell::CellDescription& cell) {
  HtmlTable table(
      "Steps: " + std::string(timeline.title), "steps",
      {{"step", "num"}, {"from", "num"}, {"to", "num"}, {"at most", "num"}, {"what happens", ""}});
  unsigned step_number = 0;
  for (const HandshakeStep& step : timeline.steps) {
    table.row({std::to_string(++step_number), escaped(row_of(step.cause).label),
               escaped(row_of(step.effect).label), escaped(limit_text(step.limit, cell)),
               escaped(step.text)});
  }
  return table.markup();
}

}  // namespace crestgate::report
