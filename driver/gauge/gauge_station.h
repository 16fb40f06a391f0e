// SPDX-License-Identifier: Apache-2.0
#pragma once
// A gauge that comes back: reopens its port for ever, with back-off, and identifies the gauge each time.

#include <chrono>
#include <functional>
#include <memory>

#include "driver/gauge/gauge.h"
#include "driver/stream/byte_stream.h"

namespace crestgate::driver {

using OpenStream = std::function<Awaitable<base::Result<std::unique_ptr<ByteStream>>>()>;
using MakeSession = std::function<std::unique_ptr<Gauge>(std::unique_ptr<ByteStream>)>;

struct StationOptions {
  std::chrono::milliseconds first_pause{100};  // doubled after every failure
  std::chrono::milliseconds longest_pause{2000};
};

// Purpose  starts to connect at once. While offline every request fails at once, with kDisconnected; with
//          kWrongIdentity or kNotSupported when that is why, so that the line is shown the true reason.
//          A failure keeps the gauge offline until it has been identified again: what ran before is gone.
// Note     the pauses are stretched by up to a tenth by chance, so that cells do not reconnect in step.
[[nodiscard]] std::unique_ptr<Gauge> make_gauge_station(const boost::asio::any_io_executor& executor,
                                                        OpenStream open, MakeSession make,
                                                        StationOptions options = {});

}  // namespace crestgate::driver
