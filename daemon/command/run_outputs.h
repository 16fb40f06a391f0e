// SPDX-License-Identifier: Apache-2.0
#pragma once
// The lamps and lines of a cell, made from their descriptions.

#include <memory>

#include "base/clock.h"
#include "base/result.h"
#include "daemon/cell/config/output_description.h"

namespace boost::asio {
class io_context;
}

namespace crestgate::driver {
class SignalOutput;
}

namespace crestgate::command {

// What can be said about an output before any of it is touched.
base::Outcome check_output(const cell::OutputDescription& output);

// Purpose  one output, under a lease.
// Errors   kInvalidConfig; whatever the device itself says on opening. Devices that come and go are no error here.
// Lifetime io and clock outlive it.
base::Result<std::unique_ptr<driver::SignalOutput>> make_output(boost::asio::io_context& io,
                                                                const base::Clock& clock,
                                                                const cell::OutputDescription& output);

// Purpose  wraps an output in the lease that every output is under.
std::unique_ptr<driver::SignalOutput> under_lease(boost::asio::io_context& io,
                                                  std::unique_ptr<driver::SignalOutput> output);

}  // namespace crestgate::command
