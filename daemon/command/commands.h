// SPDX-License-Identifier: Apache-2.0
#pragma once
// Every command as a function from its options to an exit code. command_line.cpp reads the options.

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

struct ValidateOptions {
  std::string cell;
  bool registers = false;  // print the register page instead
  Format format = Format::kText;
};
int validate(const ValidateOptions& options);

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
