// SPDX-License-Identifier: Apache-2.0
#pragma once
// The lamp as a line of text: for a bench without a stack light, for a trial, for a log.

#include <cstdint>
#include <memory>
#include <string>

#include "driver/signal/signal_output.h"

namespace crestgate::driver {

enum class TerminalLook : std::uint8_t {
  kPlain,   // ASCII words only
  kColour,  // shape, word and colour; never the colour alone
};

// Colour only for a terminal that is not dumb and without a wish against it. `no_color` and `term` are the
// values of the environment variables NO_COLOR and TERM, null when not set; an empty NO_COLOR is no wish
// (no-color.org).
[[nodiscard]] TerminalLook terminal_look(int descriptor, const char* no_color, const char* term);

// What stands on the line. Pure.
[[nodiscard]] std::string lamp_line(const base::CellSignal& signal, TerminalLook look);

class TerminalLamp : public SignalOutput {
 public:
  // States that could not be shown because the descriptor would have blocked. The current state is shown as
  // soon as it takes something again; what was meanwhile is not made up for.
  [[nodiscard]] virtual std::uint64_t dropped() const = 0;
};

// Purpose    writes one line per change of what is shown to `descriptor`.
// Ownership  `descriptor` stays the caller's; it is reopened, so that its own flags (shared with the shell)
//            stay as they are.
// Errors     kIo: not a descriptor that can be written.
[[nodiscard]] base::Result<std::unique_ptr<TerminalLamp>> make_terminal_lamp(int descriptor,
                                                                             TerminalLook look);

}  // namespace crestgate::driver
