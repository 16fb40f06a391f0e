// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/command_line.h"

#include <charconv>
#include <cmath>
#include <functional>
#include <map>
#include <string>

#include <CLI/CLI.hpp>

#include "daemon/command/commands.h"

namespace crestgate::command {
namespace {

const std::map<std::string, Format>& formats() {
  static const std::map<std::string, Format> names{{"text", Format::kText}, {"json", Format::kJson}};
  return names;
}

constexpr std::size_t kLongestComplaint = 200;  // a range of doubles is printed with 300 digits

void add_format(CLI::App& app, Format& format) {
  app.add_option_function<std::string>(
         "--format", [&format](const std::string& name) { format = formats().at(name); },
         "text for people, json for programs")
      ->check(CLI::IsMember({"text", "json"}))
      ->type_name("text|json");
}

// A number in plain words: the library's own sentence spells out the largest double.
CLI::Validator finite_number(bool zero_too) {
  return CLI::Validator(
      [zero_too](std::string& text) -> std::string {
        double value = 0.0;
        const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
        const bool whole = failure == std::errc{} && end == text.data() + text.size();
        if (whole && std::isfinite(value) && (value > 0.0 || (zero_too && value == 0.0))) return "";
        return std::string("expected a ") + (zero_too ? "number of at least 0" : "positive number") +
               ", found '" + text + "'";
      },
      "NUMBER");
}
CLI::Validator positive() { return finite_number(false); }
CLI::Validator not_negative() { return finite_number(true); }

class CommandLine {
 public:
  CommandLine() : app_("Judges ground and finished contact surfaces on a stylus bench.", "crestgate") {
    app_.set_version_flag("--version", std::string(software_version()));
    app_.require_subcommand(1);
    add_run();
    add_validate();
    add_status();
    add_reload();
    add_note();
    add_part();
    add_bypass();
    add_ports();
    add_texture();
    add_replay();
    add_dump();
  }

  int parse(int argc, const char* const* argv) {
    if (argc > 1 && argv[1][0] != '-' && !is_command(argv[1])) {
      return could_not_run("no command '" + std::string(argv[1]) + "'; there are: " + names_);
    }
    try {
      app_.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
      if (error.get_exit_code() == 0) return app_.exit(error);  // help, version
      const auto chosen = app_.get_subcommands();
      std::string what = error.what();
      if (what.size() > kLongestComplaint) what = what.substr(0, kLongestComplaint) + "...";
      return could_not_run(what + " (see crestgate " +
                           (chosen.empty() ? "" : chosen.front()->get_name() + " ") + "--help)");
    }
    return chosen_();
  }

 private:
  [[nodiscard]] bool is_command(const std::string& name) const {
    const auto found = app_.get_subcommands([&](const CLI::App* sub) { return sub->get_name() == name; });
    return !found.empty();
  }

  CLI::App& command(const char* name, const char* purpose, std::function<int()> action) {
    CLI::App& sub = *app_.add_subcommand(name, purpose);
    names_ += (names_.empty() ? "" : ", ") + std::string(name);
    sub.callback([this, action = std::move(action)] { chosen_ = action; });
    return sub;
  }

  void add_run() {
    CLI::App& app =
        command("run", "the daemon: runs a cell until it is told to stop", [this] { return run(run_); });
    app.add_option("CELL", run_.cell, "the cell's description, cell.toml")->required();
    app.add_option("--log-level", run_.log_level, "how much to log on standard error")
        ->check(CLI::IsMember({"debug", "info", "warn", "error"}))
        ->type_name("debug|info|warn|error");
    app.add_flag("--timings", run_.timings, "print where the time of each part went, one JSON line a part");
  }

  void add_validate() {
    CLI::App& app =
        command("validate", "checks a cell and its plans; says what would be measured, judged, signalled",
                [this] { return validate(validate_); });
    app.add_option("CELL", validate_.cell, "the cell's description, cell.toml")->required();
    app.add_flag("--registers", validate_.registers, "print the PLC register page as Markdown instead");
    app.add_option_function<std::string>(
           "--page",
           [this](const std::string& name) {
             validate_.page = name == "plc" ? CabinetPage::kPlc : CabinetPage::kReasons;
           },
           "print a page for the cabinet as HTML instead: lamp and reason codes, or the PLC's side")
        ->check(CLI::IsMember({"reasons", "plc"}))
        ->type_name("reasons|plc");
    add_format(app, validate_.format);
  }

  static void add_cell(CLI::App& app, std::string& cell) {
    app.add_option("CELL", cell, "the cell's description, cell.toml")->required();
  }

  void add_status() {
    CLI::App& app = command("status", "what a running cell is doing", [this] { return status(status_); });
    add_cell(app, status_.cell);
    add_format(app, status_.format);
  }

  void add_reload() {
    CLI::App& app =
        command("reload", "a running cell reads its plans anew, and takes them up between two parts",
                [this] { return reload(reload_); });
    add_cell(app, reload_.cell);
  }

  void add_note() {
    CLI::App& app = command("note", "an engineer's note into the ledger of a running cell",
                            [this] { return note(note_); });
    add_cell(app, note_.cell);
    app.add_option("TEXT", note_.text, "the note")->required();
    app.add_option("--by", note_.who, "who writes it")->required();
  }

  void add_part() {
    CLI::App& app = command("part", "tells a running cell what part is on the bench, or comes next",
                            [this] { return part(part_); });
    add_cell(app, part_.cell);
    app.add_option("--id", part_.part_id, "its number");
    app.add_option("--batch", part_.batch, "what it was finished with");
    app.add_option("--machine", part_.machine, "the machine that made the surface");
    app.add_option("--stage", part_.stage, "number of the stage");
    app.add_option("--spindle", part_.spindle, "number of the spindle");
    app.add_option("--wheel", part_.wheel, "number of the wheel");
    app.add_option("--dress-count", part_.dress_count, "parts since the wheel was dressed, counted from 1");
    app.add_flag("--measure", part_.measure, "bench without a PLC: measure the part that lies there");
    app.add_option("--recipe", part_.recipe, "with --measure: number of the plan");
    app.add_option("--zone", part_.zone, "bench without a PLC: this zone is in position");
    app.add_flag("--taken", part_.taken, "bench without a PLC: the part is off the bench");
  }

  void add_bypass() {
    CLI::App& app = command("bypass", "lets parts go on unmeasured for a time; recorded, and never green",
                            [this] { return bypass(bypass_); });
    add_cell(app, bypass_.cell);
    app.add_option("--by", bypass_.who, "who answers for it")->required();
    auto* minutes = app.add_option("--minutes", bypass_.minutes, "how long");
    app.add_flag("--end", bypass_.end, "end it now")->excludes(minutes);
  }

  void add_ports() {
    CLI::App& app = command("ports", "serial and USB ports with their stable identities",
                            [this] { return ports(ports_); });
    add_format(app, ports_.format);
  }

  void add_texture() {
    CLI::App& app = command("texture", "every texture, wave and form number of one trace",
                            [this] { return texture(texture_); });
    app.add_option("TRACE", texture_.trace, "FILE.csv (columns x_mm,z_um) or LEDGER#NUMBER")->required();
    auto* plan = app.add_option("--plan", texture_.plan, "take the settings from this plan");
    app.add_option("--zone", texture_.zone, "the plan's zone")->needs(plan);
    const auto add = [&](const char* name, auto& value, const char* what) {
      return app.add_option(name, value, what)->excludes(plan);
    };
    add("--setting-class", texture_.setting_class, "Sc1 to Sc5 of ISO 21920-3; Sc3 unless lengths are given");
    add("--lambda-c", texture_.lambda_c_mm, "long cutoff, mm")->check(positive());
    add("--lambda-s", texture_.lambda_s_mm, "short cutoff, mm; 0: none")->check(not_negative());
    add("--lambda-f", texture_.lambda_f_mm, "beyond this length waviness is form, mm")->check(positive());
    add("--sections", texture_.sections, "number of sections")->check(CLI::Range(1, 1000));
    add("--form", texture_.form, "line, arc, arc:RADIUS_MM, poly:N or none");
    add("--filter", texture_.filter, "gaussian, robust, robust2, spline or two-step");
    add("--ends", texture_.ends, "moment-0, moment-1, zero, line, mirror or point-mirror");
    add("--hill-percent", texture_.hill_percent, "least height of an element's hill, % of Rz")
        ->check(not_negative());
    add("--dale-percent", texture_.dale_percent, "least depth of an element's dale, % of Rz")
        ->check(not_negative());
    add("--pruning-percent", texture_.pruning_percent, "least prominence of a peak or pit, % of Rz")
        ->check(not_negative());
    add("--closing-radius", texture_.closing_radius_mm, "roll a disk over the profile, mm")
        ->check(not_negative());
    add("--opening-radius", texture_.opening_radius_mm, "roll a disk under the profile, mm")
        ->check(not_negative());
    add("--bridge-um", texture_.bridge_um, "longest gap that a straight line may bridge; 2.5 if not given");
    add("--spike-threshold", texture_.spike_threshold, "take spikes out beyond so many robust deviations")
        ->check(not_negative());
    add("--resample-um", texture_.resampled_spacing_um, "compute at this spacing")->check(positive());
    add("--waves", texture_.waves, "band of waves SHORTEST:LONGEST in mm, or none");
    add("--flat", texture_.flat, "a trace over a reference flat: the drive's own waves");
    app.add_option("--tip-radius-um", texture_.tip_radius_um, "of the stylus that traced it")
        ->check(positive());
    app.add_option("--only", texture_.only, "print only these parameters, for example Ra,Rk")->delimiter(',');
    add_format(app, texture_.format);
  }

  void add_replay() {
    CLI::App& app = command("replay", "judges stored traces again and shows what changes",
                            [this] { return replay(replay_); });
    app.add_option("LEDGER", replay_.ledger, "folder of the ledger")->required();
    app.add_option("--plan", replay_.plan, "judge with this plan instead of the recorded one");
    add_format(app, replay_.format);
  }

  void add_dump() {
    CLI::App& app =
        command("dump", "prints a ledger, a segment or one record as text", [this] { return dump(dump_); });
    app.add_option("FILE", dump_.file, "a ledger's folder, one of its segments, or LEDGER#NUMBER")
        ->required();
    app.add_option("--kind", dump_.kind, "only records of this kind")
        ->check(CLI::IsMember({"traverse", "judgement", "event", "document"}));
    add_format(app, dump_.format);
  }

  CLI::App app_;
  std::string names_;
  std::function<int()> chosen_;
  RunOptions run_;
  ValidateOptions validate_;
  StatusOptions status_;
  ReloadOptions reload_;
  NoteOptions note_;
  PartOptions part_;
  BypassOptions bypass_;
  PortsOptions ports_;
  TextureOptions texture_;
  ReplayOptions replay_;
  DumpOptions dump_;
};

}  // namespace

int run_command_line(int argc, const char* const* argv) { return CommandLine().parse(argc, argv); }

}  // namespace crestgate::command
