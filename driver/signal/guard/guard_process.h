// SPDX-License-Identifier: Apache-2.0
#pragma once
// One guard as a child of ours, and the channel to it. Nothing here waits, except for bury().

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <sys/types.h>

#include "base/result.h"
#include "driver/signal/guard/guard_frame.h"

namespace crestgate::driver {

// Purpose  whether the guard's program ("": crestgate-guard beside our own) is there and may be run: asked before
//          a cell relies on it.
// Errors   kNotFound, kRefused, with the path; kIo.
[[nodiscard]] base::Outcome check_guard_program(const std::string& program = "");

enum class Heard : std::uint8_t { kNothing, kFrame, kGarbage, kEnd };

class GuardProcess {
 public:
  using Clock = std::chrono::steady_clock;

  GuardProcess() = default;
  GuardProcess(const GuardProcess&) = delete;
  GuardProcess& operator=(const GuardProcess&) = delete;
  ~GuardProcess();  // kills it, if it is still there

  // Purpose  starts `program` ("": crestgate-guard beside our own) with `words`: in a session of its own, no
  //          signal blocked or ignored, with the channel as stdin and stdout, our stderr, and no other descriptor.
  // Pre      the channel is closed and the last one is buried
  // Errors   kNotFound: no such program; kRefused: no permission to run it; kIo: anything else.
  [[nodiscard]] base::Outcome start(const std::string& program, const std::vector<std::string>& words);

  [[nodiscard]] bool channel_open() const { return channel_ >= 0; }
  [[nodiscard]] bool send(const GuardFrame& frame);  // false: it takes nothing now
  [[nodiscard]] Heard receive(GuardFrame& frame);    // `frame` is filled with kFrame only
  void end_of_speech();                              // it reads the end of file; its answers still come
  [[nodiscard]] bool wait_readable(Clock::time_point limit);  // false: not until then
  void close_channel();

  void kill();                         // as a last resort: whatever is lit stays lit
  [[nodiscard]] bool is_buried();      // it has ended and its remains are gone; looks once
  void bury(Clock::time_point limit);  // waits so long for its end, and leaves the rest to a thread

  [[nodiscard]] bool left_all_off()
      const;  // the last one is buried, and ended as one that had switched all off

  // How the last one ended, once it is buried: "exit 3: it could not open the device, or not switch it off".
  [[nodiscard]] std::optional<std::string> last_words() const;

 private:
  int channel_ = -1;
  pid_t pid_ = -1;
  std::optional<int> status_;
};

}  // namespace crestgate::driver
