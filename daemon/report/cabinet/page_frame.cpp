// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/page_frame.h"

#include "daemon/report/markup/html_text.h"

namespace crestgate::report {
namespace {

// On paper nothing is smaller than 8 pt. On a narrow screen wide tables and drawings scroll by themselves.
constexpr std::string_view kStyle = R"css(
*{box-sizing:border-box}
html{background:#fff;color:#000}
body{margin:0 auto;padding:1rem;max-width:78rem;font:16px/1.35 Arial,"Liberation Sans",Helvetica,"DejaVu Sans Condensed",sans-serif;overflow-wrap:break-word}
h1{font-size:1.7em;line-height:1.1;margin:0}
h2{font-size:1.2em;margin:1.1em 0 .35em;break-after:avoid}
h3{font-size:1em;margin:.9em 0 .25em;break-after:avoid}
p{margin:.35em 0}
ol,ul{margin:.35em 0;padding-left:1.6em}
header{border-bottom:2px solid #000;padding-bottom:.35em;margin-bottom:.6em}
header p{margin:.25em 0 0}
.sign{display:inline-block;border-bottom:1px solid #000;width:9em}
.box{border:2px solid #000;padding:.4em .7em;margin:.6em 0;break-inside:avoid}
.box h2{margin-top:.1em}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%}
caption{text-align:left;font-weight:bold;padding:.35em 0;break-after:avoid}
th,td{border:1px solid #777;padding:.16em .4em;text-align:left;vertical-align:top}
thead th{background:#e4e4e4;border-bottom:2px solid #000}
tbody th{font-weight:bold}
tr{break-inside:avoid}
thead{display:table-header-group}
tbody.group{break-inside:avoid;border-top:2px solid #000}
td ol{margin:0}
.num{white-space:nowrap}
.hidden{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
figure{margin:.4em 0;break-inside:avoid}
svg{display:block;max-width:100%;height:auto}
svg text{font-family:Arial,"Liberation Sans",Helvetica,"DejaVu Sans Condensed",sans-serif;fill:#000}
svg .on{stroke:#fff;stroke-width:4px;paint-order:stroke;stroke-linejoin:round}
@media print{
html{-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{padding:0;max-width:none;font-size:8.6pt;line-height:1.28}
.wide{overflow-x:visible}
.sheet{break-before:page}
.sheet>h2:first-child{margin-top:0}
}
)css";

constexpr std::string_view kPortraitSheet =
    "@page{size:portrait;margin:10mm 10mm 12mm;@bottom-right{content:counter(page) \" / \" "
    "counter(pages);font:8pt "
    "Arial,sans-serif}}\n";
constexpr std::string_view kLandscapeSheet =
    "@page{size:landscape;margin:10mm 11mm 12mm;@bottom-right{content:counter(page) \" / \" "
    "counter(pages);font:8pt "
    "Arial,sans-serif}}\n";

}  // namespace

std::string framed(const PageFrame& frame, std::string_view body) {
  std::string page =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n<title>";
  page += escaped(frame.title);
  page += "</title>\n<style>";
  page += kStyle;
  page += frame.orientation == Orientation::kPortrait ? kPortraitSheet : kLandscapeSheet;
  page += frame.style;
  page += "</style>\n</head>\n<body>\n";
  page += body;
  page += "</body>\n</html>\n";
  return page;
}

std::string page_head(std::string_view heading, std::string_view cell_name, const PageStamp& stamp) {
  return "<header>\n<h1>" + escaped(heading) + "</h1>\n<p><b>" + escaped(cell_name) + "</b>, crestgate " +
         escaped(stamp.software_version) +
         ". Hung up on <span class=\"sign\"></span> by <span class=\"sign\"></span></p>\n</header>\n";
}

std::string caution() {
  return "<p class=\"box\"><b>The lamp tells about the quality of a part. It is no safety device.</b> "
         "Guarding "
         "belongs to the machine's own safety system, under local codes and licensed practice. "
         "<b>stylus clear</b> protects the stylus, not people.</p>\n";
}

}  // namespace crestgate::report
