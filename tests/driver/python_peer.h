// SPDX-License-Identifier: Apache-2.0
#pragma once
// A Python program beside a test that answers each line it is sent with one line.

#include <chrono>
#include <string>
#include <vector>

#include <sys/types.h>

namespace crestgate::tests {

class PythonPeer {
 public:
  // `script` below tests/driver/. Throws std::runtime_error.
  PythonPeer(const std::string& script, const std::vector<std::string>& arguments);
  ~PythonPeer();  // kills it
  PythonPeer(const PythonPeer&) = delete;
  PythonPeer& operator=(const PythonPeer&) = delete;
  PythonPeer(PythonPeer&&) = delete;
  PythonPeer& operator=(PythonPeer&&) = delete;

  // Sends a line and returns the answer; empty: none came in time.
  std::string ask(const std::string& line);
  // The next line; empty: none came in time.
  std::string read_line(std::chrono::milliseconds patience = std::chrono::seconds(20));

 private:
  pid_t pid_ = -1;
  int to_ = -1;
  int from_ = -1;
  std::string input_;
};

}  // namespace crestgate::tests
