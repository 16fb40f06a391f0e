// SPDX-License-Identifier: Apache-2.0
#pragma once
// A scanner that reads the labels of parts, whatever it is connected by.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "base/result.h"
#include "driver/asio_forward.h"
#include "driver/stream/serial_stream.h"

namespace crestgate::driver {

// Counted since start(), over all reconnections.
struct ScannerHealth {
  std::uint64_t lines = 0;
  std::uint64_t unreadable = 0;   // held something that is no text, or keys were lost
  std::uint64_t overlong = 0;     // more characters than a label may have
  std::uint64_t half = 0;         // no line end came in time, or the port was lost before it
  std::uint64_t connections = 0;  // times that the port was opened and fell silent
};

// Purpose    one scanner on one port that is opened again for ever. A label is reported whole or not at all:
//            what is too long, unreadable or incomplete is dropped, counted and told to on_unreadable.
// Threads    all calls and callbacks on the executor it was made with; nothing blocks.
// Callbacks  replace earlier ones, and may be empty. They may stop or destroy the scanner; none is called after
//            stop(), except one that runs already. They come as fast as the port delivers: whoever writes them
//            down has to thin them out.
class Scanner {
 public:
  virtual ~Scanner() = default;

  // A label: 1 to 200 characters of printable UTF-8, without its line end.
  virtual void on_line(std::function<void(std::string line)> listener) = 0;

  // A label was dropped: why, in one line. Once for each, as soon as it is certain.
  virtual void on_unreadable(std::function<void(std::string reason)> listener) = 0;

  // Called after every change of online(), and while offline whenever the reason changes.
  virtual void on_change(std::function<void()> listener) = 0;

  // True while the next label would be read. While false, offline_reason() says why.
  [[nodiscard]] virtual bool online() const = 0;
  [[nodiscard]] virtual base::Error offline_reason() const = 0;
  [[nodiscard]] virtual ScannerHealth health() const = 0;

  // Begins to open the port. A second call changes nothing, nor does one after stop().
  virtual void start() = 0;

  // Lets go of the port for good.
  virtual void stop() = 0;
};

struct ScannerOptions {
  std::string port;      // "keys:/dev/input/by-id/...-event-kbd", or whatever parse_port_address reads
  SerialOptions serial;  // not used by keys and TCP
};

// Purpose  the scanner behind `port`; not started yet.
// Errors   kInvalidConfig: `port` is none of the kinds; the detail says what was expected.
[[nodiscard]] base::Result<std::unique_ptr<Scanner>> make_scanner(
    const boost::asio::any_io_executor& executor, const ScannerOptions& options);

}  // namespace crestgate::driver
