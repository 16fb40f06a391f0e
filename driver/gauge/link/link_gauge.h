// SPDX-License-Identifier: Apache-2.0
#pragma once
// A gauge that speaks the gauge link (protocol/link/LINK.md), over a stream that is already open.

#include <chrono>
#include <memory>
#include <string>

#include "driver/gauge/gauge.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

// LINK.md section 2 and 3; a cell's description may say otherwise.
struct LinkTiming {
  std::chrono::milliseconds answer{500};        // every request but the next
  std::chrono::milliseconds retract{5000};      // RETRACT and ABORT
  std::chrono::milliseconds silence{2000};      // nothing whole at all: the link is lost
  std::chrono::milliseconds pulse{500};         // host pulses while a traverse runs
  std::chrono::milliseconds chunk{1000};        // between two chunks while data are due
  std::chrono::milliseconds first_chunk{3000};  // the stylus goes down first
  std::chrono::milliseconds finish{2000};       // beside 1.5 times the expected duration
  std::chrono::milliseconds write{1000};        // for the port to take one frame
};

struct LinkOptions {
  std::string expected_serial_number;  // "": any gauge
  LinkTiming timing;
  int tries = 3;          // of one request, all with the same sequence
  int resend_rounds = 8;  // over all gaps
};

// Offline from the first error of the stream, from the silence limit, or from a changed boot id on: it does
// not come back by itself (GaugeStation makes a new one). Call identify() first: it is what makes it online.
[[nodiscard]] std::unique_ptr<Gauge> make_link_gauge(const boost::asio::any_io_executor& executor,
                                                     std::unique_ptr<ByteStream> stream, LinkOptions options);

}  // namespace crestgate::driver
