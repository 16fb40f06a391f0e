// SPDX-License-Identifier: Apache-2.0
#pragma once
// The serial port that the simulator offers: a pseudo-terminal under a name of one's choice.

#include <string>

#include "base/result.h"

namespace crestgate::simulator {

// Purpose  opens a pair, sets its far end raw before anybody can write, keeps that end open (so that a client
//          that leaves does not end the near end with EIO), and links it to a path.
// Lifetime the destructor closes the far end and removes the link.
class PseudoTerminal {
 public:
  // Errors  kBusy: something that is no link stands at `link_path`. kIo: the system's reason is in the text.
  //         `other_than` is the name of a far end that this one must not have; empty: any will do.
  static base::Result<PseudoTerminal> open(const std::string& link_path, const std::string& other_than = {});

  PseudoTerminal(PseudoTerminal&& other) noexcept;
  PseudoTerminal& operator=(PseudoTerminal&& other) noexcept;
  PseudoTerminal(const PseudoTerminal&) = delete;
  PseudoTerminal& operator=(const PseudoTerminal&) = delete;
  ~PseudoTerminal();

  // The near end; the caller owns it from then on. To be called once.
  int take_near_end();

  // The device that the link leads to.
  [[nodiscard]] const std::string& far_name() const { return far_name_; }

  // Throws away what no client has read. A real adapter keeps nothing for a client that is not there.
  void discard_unread() const;

 private:
  PseudoTerminal() = default;
  static base::Result<PseudoTerminal> open_pair();
  base::Outcome link_to(const std::string& path);
  void close();

  int near_end_ = -1;
  int far_end_ = -1;
  std::string far_name_;
  std::string link_path_;  // empty while no link was made
};

}  // namespace crestgate::simulator
