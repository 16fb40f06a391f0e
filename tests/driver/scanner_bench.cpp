// SPDX-License-Identifier: Apache-2.0
#include "scanner_bench.h"

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <system_error>

#include <boost/asio/awaitable.hpp>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "typist.h"

namespace crestgate::tests {

ScratchFolder::ScratchFolder() : path_(::testing::TempDir() + "scanner-XXXXXX") {
  if (::mkdtemp(path_.data()) == nullptr) throw std::runtime_error("no scratch folder");
}

ScratchFolder::~ScratchFolder() {
  std::error_code ignored;  // what is left over harms nothing
  std::filesystem::remove_all(path_, ignored);
}

std::unique_ptr<driver::Scanner> LineBench::make(driver::ScanTiming timing) {
  driver::LineScannerOptions options;
  options.port.address = driver::PortIdentity{path()};
  options.timing = timing;
  return driver::make_line_scanner(io_.get_executor(), options);
}

void LineBench::plug() {
  pty_ = open_pty(io_.get_executor());
  std::filesystem::remove(path());
  std::filesystem::create_symlink(pty_.slave_path, path());
}

// The link goes with the device: its pseudo-terminal's number is somebody else's at once.
void LineBench::pull() {
  pty_.master.reset();
  std::filesystem::remove(path());
}

void LineBench::send(std::string_view bytes) {
  const auto deadline = std::chrono::steady_clock::now() + kTestPatience;
  const auto sent = run(io_, pty_.master->write(std::as_bytes(std::span(bytes)), deadline));
  if (!sent) throw std::runtime_error(sent.error().detail);
}

std::unique_ptr<driver::Scanner> KeyBench::make(boost::asio::io_context& io,
                                                driver::KeyScannerOptions options) const {
  options.path = path();
  return driver::make_key_scanner(io.get_executor(), options);
}

void KeyBench::plug() {
  pull();
  if (::mkfifo(path().c_str(), 0600) != 0) throw std::runtime_error("no pipe");
  fd_ = ::open(path().c_str(), O_RDWR | O_NONBLOCK | O_CLOEXEC);
  if (fd_ < 0) throw std::runtime_error("the pipe does not open");
}

void KeyBench::pull() {
  if (fd_ < 0) return;
  ::close(fd_);
  ::unlink(path().c_str());
  fd_ = -1;
}

void KeyBench::send(std::span<const std::byte> bytes) const {
  if (::write(fd_, bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size())) {
    throw std::runtime_error("the pipe did not take everything");
  }
}

void KeyBench::scan(std::string_view label) const {
  const auto events = type(label);
  send(std::as_bytes(std::span(events)));
}

void KeyBench::scan_half(std::string_view label) const {
  const auto events = type_half(label);
  send(std::as_bytes(std::span(events)));
}

}  // namespace crestgate::tests
