// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/log_sink.h"

#include <cstdint>
#include <mutex>
#include <string>

#include <poll.h>
#include <spdlog/sinks/base_sink.h>
#include <unistd.h>

namespace crestgate::command {
namespace {

constexpr std::size_t kLongestLine = 4000;  // below PIPE_BUF: a pipe that is ready takes that much at once

class LogSink final : public spdlog::sinks::base_sink<std::mutex> {
 public:
  explicit LogSink(int descriptor) : descriptor_(descriptor) {}

 private:
  void sink_it_(const spdlog::details::log_msg& message) override {
    spdlog::memory_buf_t formatted;
    formatter_->format(message, formatted);
    std::string line(formatted.data(), formatted.size());
    if (line.size() > kLongestLine) line = line.substr(0, kLongestLine - 1) + "\n";
    if (left_out_ > 0 &&
        put("(" + std::to_string(left_out_) + " lines of the log were left out: nobody read them)\n"))
      left_out_ = 0;
    if (left_out_ > 0 || !put(line)) ++left_out_;
  }
  void flush_() override {}

  [[nodiscard]] bool put(const std::string& line) const {
    pollfd ready{descriptor_, POLLOUT, 0};
    if (::poll(&ready, 1, 0) != 1 || (ready.revents & POLLOUT) == 0) return false;
    return ::write(descriptor_, line.data(), line.size()) == static_cast<ssize_t>(line.size());
  }

  const int descriptor_;
  std::uint64_t left_out_ = 0;
};

}  // namespace

std::shared_ptr<spdlog::sinks::sink> make_log_sink(int descriptor) {
  return std::make_shared<LogSink>(descriptor);
}

}  // namespace crestgate::command
