// SPDX-License-Identifier: Apache-2.0
#pragma once
// One PLC holds the line: who may write just now, and whether somebody else tried. Pure; time is an argument.

#include <chrono>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace crestgate::driver {

struct LineRules {
  std::chrono::milliseconds holder_silence{5000};  // a holder that wrote nothing for longer lost the line
  std::chrono::milliseconds contest_shown{5000};   // how long a refused attempt is told
  std::vector<std::string> allowed_writers;        // addresses as peers are named below; empty: anybody
};

enum class Claim : std::uint8_t {
  kGranted,
  kOtherHolds,  // another address holds the line
  kNotAllowed,  // not one of the allowed writers
};

// Purpose  the address whose write was granted last holds the line until it has no connection left or was
//          silent for too long. All connections of an address are one PLC: some drivers open one for each block,
//          and one that comes back after a half-open connection writes at once.
class LineHolder {
 public:
  using Time = std::chrono::steady_clock::time_point;

  explicit LineHolder(LineRules rules) : rules_(std::move(rules)) {}

  // A connection came; numbers rise from 1 with the order in which they came. `peer`: its address, without
  // the port.
  void came(std::uint64_t connection, const std::string& peer) { peers_[connection] = peer; }
  void left(std::uint64_t connection);

  // May this connection write now? kGranted means that it does, and holds the line from now on.
  // Pre  the connection came and has not left.
  [[nodiscard]] Claim claim(std::uint64_t connection, Time now);

  // True: another address than the holder's, or one that may not write, tried within the last contest_shown.
  [[nodiscard]] bool contested(Time now) const { return now < contest_ends_; }
  [[nodiscard]] Time contest_ends() const { return contest_ends_; }

  // The connection through which the line is held; 0: none, or it has left.
  [[nodiscard]] std::uint64_t writer(Time now) const { return is_held(now) ? held_->writer : 0; }

 private:
  struct Held {
    std::string peer;
    std::uint64_t writer = 0;  // the connection; 0: it has left
    Time written;
  };
  [[nodiscard]] bool is_held(Time now) const;

  LineRules rules_;
  std::map<std::uint64_t, std::string> peers_;
  std::optional<Held> held_;
  Time contest_ends_ = Time::min();
};

}  // namespace crestgate::driver
