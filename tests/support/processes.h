// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which children a process has, looked up in /proc.

#include <charconv>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <sys/types.h>

#include "support/light_log.h"

namespace crestgate::tests {

struct ProcessFacts {
  pid_t pid = 0;
  std::string name;  // its first 15 letters
  char state = '?';  // R, S, T (stopped), Z (a zombie) ...
  pid_t parent = 0;
  pid_t session = 0;
};

// Nothing: there is no such process (any more): pid 0.
inline ProcessFacts process_facts(pid_t pid) {
  ProcessFacts facts;
  std::ifstream file("/proc/" + std::to_string(pid) + "/stat");
  std::string text;
  std::getline(file, text);
  const std::size_t open = text.find('(');
  const std::size_t close = text.rfind(')');
  if (close == std::string::npos) return facts;
  facts.pid = pid;
  facts.name = text.substr(open + 1, close - open - 1);
  pid_t group = 0;
  std::istringstream(text.substr(close + 1)) >> facts.state >> facts.parent >> group >> facts.session;
  return facts;
}

inline std::vector<ProcessFacts> children_of(pid_t parent, const std::string& name) {
  std::vector<ProcessFacts> found;
  for (const auto& entry : std::filesystem::directory_iterator("/proc")) {
    const std::string number = entry.path().filename();
    pid_t pid = 0;
    if (std::from_chars(number.data(), number.data() + number.size(), pid).ec != std::errc{}) continue;
    const ProcessFacts facts = process_facts(pid);
    if (facts.parent == parent && facts.name == name) found.push_back(facts);
  }
  return found;
}

// Waits until no guard is left whose environment or command line (`file`) speaks of `folder`, and then ends those that
// are: without their device they would try for ever.
inline void wait_for_guards(const std::filesystem::path& folder, const char* file) {
  const auto users = [&] {
    std::vector<pid_t> found;
    for (const auto& entry : std::filesystem::directory_iterator("/proc")) {
      const std::string number = entry.path().filename();
      pid_t pid = 0;
      if (std::from_chars(number.data(), number.data() + number.size(), pid).ec != std::errc{}) continue;
      if (process_facts(pid).name != "crestgate-guard") continue;
      std::ifstream words(entry.path() / file);
      std::stringstream text;
      text << words.rdbuf();
      if (text.str().find(folder.string()) != std::string::npos) found.push_back(pid);
    }
    return found;
  };
  if (eventually([&] { return users().empty(); }, std::chrono::seconds(2))) return;
  for (const pid_t pid : users()) ::kill(pid, SIGKILL);
}

}  // namespace crestgate::tests
