// SPDX-License-Identifier: Apache-2.0
// The commands that speak with a running cell: status, reload, note, part, bypass.

#include <cstdio>
#include <string>

#include <nlohmann/json.hpp>

#include "daemon/cell/config/document.h"
#include "daemon/command/ask_cell.h"
#include "daemon/command/commands.h"

namespace crestgate::command {
namespace {

using Json = nlohmann::ordered_json;

void print_line(const std::string& text) { std::printf("%s\n", cell::on_one_line(text).c_str()); }

// Asks, and says in one line what came of it.
int ask_and_tell(const std::string& cell_file, const Json& request, const std::string& done) {
  const auto answer = ask_cell(cell_file, request);
  if (!answer) return could_not_run(answer.error());
  print_line(done);
  return kFine;
}

std::string gauge_line(const Json& gauge) {
  std::string line = "gauge  " + gauge.value("name", "");
  if (line.back() != ' ') line += ": ";
  if (gauge.value("online", false)) {
    return line + gauge.value("model", "") + " " + gauge.value("serial_number", "") + ", online, stylus " +
           (gauge.value("stylus_clear", false) ? "clear" : "not clear");
  }
  return line + "offline: " + gauge.value("why", "");
}

void print_status(const Json& status) {
  print_line("cell   " + status.value("cell", "") + ", version " + status.value("version", ""));
  print_line("state  " + status.value("state", "") + ", lamp " + status.value("lamp", "") +
             (status.value("line", "").empty() ? "" : ": " + status.value("line", "")));
  if (!status.value("part_id", "").empty() || status.value("zones_total", 0) > 0) {
    print_line("part   " + status.value("part_id", "") + ", attempt " +
               std::to_string(status.value("attempt", 0)) + ", zone " +
               std::to_string(status.value("zone_done", 0)) + " of " +
               std::to_string(status.value("zones_total", 0)) + " done" +
               (status.value("zone_wanted", 0) > 0
                    ? ", zone " + std::to_string(status.value("zone_wanted", 0)) + " wanted in position"
                    : ""));
  }
  if (status.contains("bypass")) {
    print_line("bypass by " + status["bypass"].value("who", "") + " until " +
               status["bypass"].value("until", ""));
  }
  for (const Json& gauge : status["gauges"]) print_line(gauge_line(gauge));
  for (const Json& output : status["outputs_in_trouble"]) {
    print_line("output '" + output.value("name", "") + "' fails: " + output.value("why", ""));
  }
  if (!status.value("ledger_healthy", false)) print_line("ledger cannot be written");
  for (const Json& warning : status["warnings"]) print_line("warning: " + warning.get<std::string>());
  for (const Json& plan : status["plans"]) {
    print_line("recipe " + std::to_string(plan.value("recipe", 0)) + ": " + plan.value("plan", ""));
  }
}

}  // namespace

int status(const StatusOptions& options) {
  const auto answer = ask_cell(options.cell, {{"ask", "status"}});
  if (!answer) return could_not_run(answer.error());
  if (options.format == Format::kJson) {
    std::printf("%s\n", answer->dump(2, ' ', false, Json::error_handler_t::replace).c_str());
  } else {
    print_status(*answer);
  }
  const std::string state = answer->value("state", "");
  return state == "fault" || state == "bypass" ? kAnswerIsNo : kFine;
}

int reload(const ReloadOptions& options) {
  return ask_and_tell(options.cell, {{"ask", "reload"}}, "read and recorded; taken up before the next part");
}

int note(const NoteOptions& options) {
  return ask_and_tell(options.cell, {{"ask", "note"}, {"who", options.who}, {"text", options.text}},
                      "the note is in the ledger");
}

int part(const PartOptions& options) {
  Json named{{"ask", "part"}};
  const auto put = [&named](const char* key, const auto& value) {
    if (value) named[key] = *value;
  };
  put("part_id", options.part_id);
  put("batch", options.batch);
  put("machine", options.machine);
  put("stage", options.stage);
  put("spindle", options.spindle);
  put("wheel", options.wheel);
  put("dress_count", options.dress_count);
  const bool names = named.size() > 1;
  if (!names && !options.measure && !options.zone && !options.taken) {
    return could_not_run("part: nothing to do; see crestgate part --help");
  }
  if (names && !options.measure) {
    const int told = ask_and_tell(options.cell, named, "noted for the part on the bench, or the next one");
    if (told != kFine) return told;
  }
  if (options.measure) {
    Json request = named;
    request["ask"] = "measure";
    if (options.recipe) request["recipe"] = *options.recipe;
    const int told = ask_and_tell(options.cell, request, "the measurement begins");
    if (told != kFine) return told;
  }
  if (options.zone) {
    const std::string zone = std::to_string(*options.zone);
    const int told = ask_and_tell(options.cell, {{"ask", "zone"}, {"zone", *options.zone}},
                                  "zone " + zone + " is taken to be in position");
    if (told != kFine) return told;
  }
  if (options.taken) return ask_and_tell(options.cell, {{"ask", "taken"}}, "the bench is taken to be empty");
  return kFine;
}

int bypass(const BypassOptions& options) {
  if (options.end) {
    return ask_and_tell(options.cell, {{"ask", "bypass_end"}, {"who", options.who}}, "the bypass has ended");
  }
  if (!options.minutes) return could_not_run("bypass: --minutes or --end is missing");
  return ask_and_tell(options.cell, {{"ask", "bypass"}, {"who", options.who}, {"minutes", *options.minutes}},
                      "parts go on unmeasured for " + std::to_string(*options.minutes) +
                          " minutes; this is in the ledger, and nothing is green");
}

}  // namespace crestgate::command
