// SPDX-License-Identifier: Apache-2.0
#pragma once
// Green is a lease, not a latch: an output that is not told again in time goes to its safe state.

#include <chrono>
#include <memory>

#include "driver/asio_forward.h"
#include "driver/signal/signal_output.h"

namespace crestgate::driver {

// Purpose  wraps `output`: safe() is called on it when apply() has not been called for `lease`, once per
//          lapse. It is safe at the start. The measuring cycle may hang while the rest of the process lives;
//          this is what notices.
[[nodiscard]] std::unique_ptr<SignalOutput> make_leased(const boost::asio::any_io_executor& executor,
                                                        std::unique_ptr<SignalOutput> output,
                                                        std::chrono::milliseconds lease);

}  // namespace crestgate::driver
