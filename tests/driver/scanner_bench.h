// SPDX-License-Identifier: Apache-2.0
#pragma once
// Scanners of both kinds on devices that can be pulled and plugged in again under the same name.

#include <chrono>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <boost/asio/io_context.hpp>

#include "driver/scanner/key_scanner.h"
#include "driver/scanner/line_scanner.h"
#include "support/pty_pair.h"
#include "support/run_async.h"

namespace crestgate::tests {

// Quick where a test waits, patient where a busy computer could be taken for a fault.
inline driver::ScanTiming quick_timing() {
  using std::chrono::milliseconds;
  return {.first_pause = milliseconds(1),
          .longest_pause = milliseconds(8),
          .silence = milliseconds(5),
          .silence_limit = std::chrono::seconds(20),
          .patience = std::chrono::seconds(20)};
}

// A folder of our own, removed with all that is in it.
class ScratchFolder {
 public:
  ScratchFolder();
  ~ScratchFolder();
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  std::string path_;
};

// A real pseudo-terminal; a link keeps its name the same.
class LineBench {
 public:
  explicit LineBench(boost::asio::io_context& io) : io_(io) { plug(); }
  [[nodiscard]] std::unique_ptr<driver::Scanner> make(driver::ScanTiming timing = quick_timing());
  void plug();
  void pull();
  void send(std::string_view bytes);
  void scan(std::string_view label) { send(std::string(label) + "\r\n"); }
  void scan_half(std::string_view label) { send(label); }
  [[nodiscard]] std::string path() const { return folder_.path() + "/scanner"; }

 private:
  boost::asio::io_context& io_;
  ScratchFolder folder_;
  Pty pty_;
};

// A pipe with a name; it carries what an input device would report, but cannot be grabbed.
class KeyBench {
 public:
  explicit KeyBench(boost::asio::io_context& /*io*/) { plug(); }
  ~KeyBench() { pull(); }
  KeyBench(const KeyBench&) = delete;
  KeyBench& operator=(const KeyBench&) = delete;
  [[nodiscard]] std::unique_ptr<driver::Scanner> make(boost::asio::io_context& io,
                                                      driver::KeyScannerOptions options) const;
  void plug();
  void pull();
  void send(std::span<const std::byte> bytes) const;
  void scan(std::string_view label) const;
  void scan_half(std::string_view label) const;
  [[nodiscard]] std::string path() const { return folder_.path() + "/event-kbd"; }

 private:
  ScratchFolder folder_;
  int fd_ = -1;
};

// What a scanner said.
struct Heard {
  explicit Heard(driver::Scanner& scanner) { listen_to(scanner); }
  void listen_to(driver::Scanner& scanner) {
    scanner.on_line([this](std::string line) { lines.push_back(std::move(line)); });
    scanner.on_unreadable([this](std::string reason) { dropped.push_back(std::move(reason)); });
    scanner.on_change([this] { ++changes; });
  }
  std::vector<std::string> lines;
  std::vector<std::string> dropped;
  int changes = 0;
};

}  // namespace crestgate::tests
