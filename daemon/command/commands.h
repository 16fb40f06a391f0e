// SPDX-License-Identifier: Apache-2.0
#pragma once
// Every command as a function from its options to an exit code. command_line.cpp reads the options.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "daemon/command/answer.h"

namespace crestgate::command {

struct RunOptions {
  std::string cell;
  std::string log_level = "info";
  bool timings = false;  // one line of JSON on standard output per result: where the time went
};
int run(const RunOptions& options);

// Pages to print and hang up at the bench.
enum class CabinetPage { kNone, kReasons, kPlc };

struct ValidateOptions {
  std::string cell;
  bool registers = false;                 // print the register page instead
  CabinetPage page = CabinetPage::kNone;  // print this page as HTML instead
  Format format = Format::kText;
};
int validate(const ValidateOptions& options);

struct StatusOptions {
  std::string cell;
  Format format = Format::kText;
};
int status(const StatusOptions& options);  // kAnswerIsNo: it runs and cannot measure

struct ReloadOptions {
  std::string cell;
};
int reload(const ReloadOptions& options);

struct NoteOptions {
  std::string cell;
  std::string who;
  std::string text;
};
int note(const NoteOptions& options);

struct PartOptions {
  std::string cell;
  std::optional<std::string> part_id;
  std::optional<std::string> batch;
  std::optional<std::string> machine;
  std::optional<std::uint16_t> stage;
  std::optional<std::uint16_t> spindle;
  std::optional<std::uint32_t> wheel;
  std::optional<std::uint32_t> dress_count;
  bool measure = false;  // on a bench without a PLC, as the three below
  std::optional<std::uint16_t> recipe;
  std::optional<std::uint16_t> zone;
  bool taken = false;
};
int part(const PartOptions& options);

struct BypassOptions {
  std::string cell;
  std::string who;
  std::optional<std::uint32_t> minutes;
  bool end = false;
};
int bypass(const BypassOptions& options);

struct PortsOptions {
  Format format = Format::kText;
};
int ports(const PortsOptions& options);

struct TextureOptions {
  std::string trace;  // FILE.csv or LEDGER#NUMBER
  std::optional<std::string> plan;
  std::optional<std::string> zone;
  std::optional<std::string> setting_class;
  std::optional<double> lambda_c_mm;
  std::optional<double> lambda_s_mm;
  std::optional<double> lambda_f_mm;
  std::optional<int> sections;
  std::optional<std::string> form;    // line, arc, arc:R, poly:N, none
  std::optional<std::string> filter;  // names of daemon/cell/config/texture_description.h
  std::optional<std::string> ends;
  std::optional<double> hill_percent;
  std::optional<double> dale_percent;
  std::optional<double> pruning_percent;
  std::optional<double> closing_radius_mm;
  std::optional<double> opening_radius_mm;
  std::optional<double> bridge_um;
  std::optional<double> spike_threshold;
  std::optional<double> resampled_spacing_um;
  std::optional<std::string> waves;  // SHORTEST:LONGEST in mm, or none
  std::optional<std::string> flat;   // a trace over a reference flat, for the drive's own waves
  std::optional<double> tip_radius_um;
  std::vector<std::string> only;  // symbols to print; empty: all
  Format format = Format::kText;
};
int texture(const TextureOptions& options);

struct ReplayOptions {
  std::string ledger;
  std::optional<std::string> plan;  // judge with this plan instead of the recorded one
  Format format = Format::kText;
};
int replay(const ReplayOptions& options);

struct DumpOptions {
  std::string file;                 // a ledger, a segment, LEDGER#NUMBER
  std::optional<std::string> kind;  // traverse, judgement, event, document
  Format format = Format::kText;
};
int dump(const DumpOptions& options);

}  // namespace crestgate::command
