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
  std::optional<double> lambda_c_mm;
  std::optional<double> lambda_s_mm;
  std::optional<int> sections;
  std::optional<std::string> form;    // line, arc, poly:N, none
  std::optional<std::string> filter;  // gaussian
  std::vector<std::string> only;      // symbols to print; empty: all
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
