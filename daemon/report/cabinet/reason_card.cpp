// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/reason_card.h"

#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/reason.h"
#include "daemon/report/cabinet/light_meaning.h"
#include "daemon/report/cabinet/reason_action.h"
#include "daemon/report/markup/html_text.h"
#include "registers/register_words.h"

namespace crestgate::report {
namespace {

constexpr std::string_view kStyle = R"css(
.lamp{display:flex;gap:1em;align-items:flex-start;break-inside:avoid}
.lamp svg{flex:none;width:6.2em}
.lamp .wide{flex:1;min-width:0}
.codes{columns:2;column-gap:1.4em}
dl{margin:.2em 0 .8em;display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,19rem),1fr));gap:.15em 1.4em}
dt{display:inline;font-weight:bold}
dd{display:inline;margin:0 0 0 .5em}
.call{display:inline-block;white-space:nowrap;margin:.9em 1.2em 0 0}
.codes section{margin-bottom:.5em}
.codes h2{margin:.1em 0 .1em;padding:.12em .4em;background:#000;color:#fff;font-size:1.1em}
.codes table{table-layout:fixed}
.codes thead,.codes caption{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.codes table{border-collapse:separate;border-spacing:0}
.codes td,.codes th{border:0;border-bottom:1px solid #777}
.codes .code{width:3.1rem;font-size:1.75rem;line-height:1.05;padding:.04em 0 0 .06em;letter-spacing:-.02em;white-space:nowrap}
.codes td{padding-right:0}
.codes b{line-height:1.15}
.who{border:1px solid #000;border-radius:.3em;padding:0 .3em;white-space:nowrap}
.who.nobody{border-style:dotted}
@media screen and (max-width:48rem){.codes{columns:1}.lamp{display:block}.lamp table{min-width:36rem}}
@media print{
.codes .code{width:17mm;font-size:26pt}
dl{grid-template-columns:1fr 1fr}
.codes td{padding-top:.2em;padding-bottom:.2em}
.codes{column-gap:5mm}
body{font-size:8.6pt;line-height:1.2}
h1{font-size:17pt}
}
)css";

// ---- lights ----

std::vector<driver::Light> usual_lights() {
  std::vector<driver::Light> lights;
  for (const auto shows : {driver::Shows::kReject, driver::Shows::kAct, driver::Shows::kAccept}) {
    lights.push_back({.label = std::string(meaning_of(shows).word),
                      .shows = shows,
                      .flashing = shows == driver::Shows::kAct});
  }
  return lights;
}

std::string position_text(std::size_t index, std::size_t count) {
  if (count == 1) return "the only one";
  if (index == 0) return "1, top";
  return std::to_string(index + 1) + (index + 1 == count ? ", bottom" : "");
}

// The lamp from the side: a numbered box a light; a flashing one sends rays.
std::string lamp_drawing(std::span<const driver::Light> lights) {
  constexpr int kStep = 34;
  const int height = 16 + kStep * static_cast<int>(lights.size()) + 22;
  std::string svg = "<svg viewBox=\"0 0 120 " + std::to_string(height) +
                    "\" role=\"img\" aria-labelledby=\"lamp-title lamp-desc\">\n"
                    "<title id=\"lamp-title\">The part-verdict lamp</title>\n<desc id=\"lamp-desc\">";
  for (std::size_t i = 0; i < lights.size(); ++i) {
    svg += position_text(i, lights.size()) + ": " + escaped(lights[i].label) +
           (lights[i].flashing ? ", flashing. " : ", steady. ");
  }
  svg += "</desc>\n<path d=\"M38 16v-4q0-8 22-8t22 8v4z\" fill=\"#777\"/>\n";
  for (std::size_t i = 0; i < lights.size(); ++i) {
    const int y = 16 + kStep * static_cast<int>(i);
    const std::string top = std::to_string(y);
    svg += "<rect x=\"38\" y=\"" + top + "\" width=\"44\" height=\"" + std::to_string(kStep) +
           "\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"2\"/><text x=\"60\" y=\"" +
           std::to_string(y + 24) + "\" font-size=\"20\" font-weight=\"bold\" text-anchor=\"middle\">" +
           std::to_string(i + 1) + "</text>";
    if (lights[i].flashing) {
      const std::string ys[] = {std::to_string(y + 7), std::to_string(y + 17), std::to_string(y + 27)};
      svg += "<path d=\"M32 " + ys[0] + "l-16 -5M32 " + ys[1] + "h-20M32 " + ys[2] + "l-16 5M88 " + ys[0] +
             "l16 -5M88 " + ys[1] + "h20M88 " + ys[2] +
             "l16 5\" stroke=\"#000\" stroke-width=\"2\" fill=\"none\"/>";
    }
    svg += "\n";
  }
  const std::string foot = std::to_string(height - 22);
  return svg + "<path d=\"M44 " + foot + "h32v8h14v14h-60v-14h14z\" fill=\"#777\"/>\n</svg>\n";
}

std::string lamp_section(std::span<const driver::Light> lights) {
  HtmlTable table("What the lights say", "",
                  {{"light", "num"}, {"word", "num"}, {"how", "num"}, {"means", ""}, {"then", ""}});
  for (std::size_t i = 0; i < lights.size(); ++i) {
    const driver::Light& light = lights[i];
    const LightMeaning& meaning = meaning_of(light.shows);
    table.row(
        {position_text(i, lights.size()), "<b>" + escaped(light.label) + "</b>",
         std::string(light.flashing ? "flashing" : "steady") + ", usually " + std::string(meaning.colour),
         escaped(meaning.means), escaped(meaning.then)});
  }
  table.row(
      {"none", "<b>----</b>", "dark",
       "No verdict: idle, measuring, aborted, not measured, starting, stopping, or off. The line says which.",
       "Not accepted. A part that is \"not measured\" goes on as its fate says."});
  return "<h2 id=\"lights\">The part-verdict lamp</h2>\n<div class=\"lamp\">\n" + lamp_drawing(lights) +
         "<div class=\"wide\">\n" + table.markup() + "</div>\n</div>\n" + caution();
}

std::string fate_section() {
  std::string list =
      "<section aria-labelledby=\"fates\">\n<h2 id=\"fates\">Where the part goes: its fate</h2>\n<dl>\n";
  for (const registers::NumberedWord& word : registers::kFateWords) {
    list += "<div><dt>" + std::to_string(word.number) + " " + escaped(word.name) + "</dt><dd>" +
            escaped(word.meaning) + "</dd></div>\n";
  }
  return list + "</dl>\n</section>\n";
}

// Lines to write on: whom this site calls.
std::string call_section() {
  std::string list = "<section aria-labelledby=\"call\">\n<h2 id=\"call\">Whom to call here</h2>\n<p>";
  for (const auto actor : {base::Actor::kOperator, base::Actor::kProcess, base::Actor::kMaintenance}) {
    list += "<span class=\"call\"><b>";
    list += base::name_of(actor);
    list += "</b> <span class=\"sign\"></span></span> ";
  }
  return list + "</p>\n</section>\n";
}

// ---- codes ----

std::string group_section(const ReasonGroup& group) {
  const std::string name = "codes-" + std::to_string(group.first / 100);
  HtmlTable table(group.heading, "", {{"code", "code"}, {"what it says, who acts, what to do first", ""}});
  for (const base::ReasonText& text : base::kReasonTexts) {
    const auto code = static_cast<std::uint16_t>(text.reason);
    if (code < group.first || code > group.last) continue;
    const bool nobody = text.actor == base::Actor::kNobody;
    const std::string who = "<span class=\"who" + std::string(nobody ? " nobody" : "") + "\">" +
                            std::string(base::name_of(text.actor)) + "</span> ";
    table.row({std::to_string(code),
               "<b>" + sentence(text.sentence) + ".</b><br />" + who + escaped(action_of(text.reason))},
              "code-" + std::to_string(code));
  }
  return "<section aria-labelledby=\"" + name + "\">\n<h2 id=\"" + name + "\">" + escaped(group.heading) +
         "</h2>\n" + table.markup() + "</section>\n";
}

}  // namespace

std::string reason_card(std::string_view cell_name, const PageStamp& stamp,
                        std::span<const driver::Light> lights) {
  const std::vector<driver::Light> usual = usual_lights();
  // The sheet is full where the second one begins.
  constexpr std::uint16_t kFirstOfSecondSheet = 300;
  std::string first_codes;
  std::string second_codes;
  for (const ReasonGroup& group : kReasonGroups)
    (group.first < kFirstOfSecondSheet ? first_codes : second_codes) += group_section(group);
  const std::string body = page_head("Lamp and reason codes", cell_name, stamp) + "<main>\n" +
                           lamp_section(lights.empty() ? std::span(usual) : lights) + fate_section() +
                           "<div class=\"codes\">\n" + first_codes + "</div>\n" + call_section() +
                           "<div class=\"codes sheet\">\n" + second_codes + "</div>\n</main>\n";
  return framed({.title = "Lamp and reason codes, " + std::string(cell_name),
                 .orientation = Orientation::kPortrait,
                 .style = kStyle},
                body);
}

}  // namespace crestgate::report
