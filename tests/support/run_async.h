// SPDX-License-Identifier: Apache-2.0
#pragma once
// Runs a coroutine to its end on an io_context, together with everything else that lives there.

#include <chrono>
#include <exception>
#include <optional>
#include <stdexcept>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>

namespace crestgate::tests {

constexpr std::chrono::seconds kTestPatience{30};

template <class T>
boost::asio::awaitable<void> keep_result(boost::asio::awaitable<T> work, std::optional<T>* result) {
  result->emplace(co_await std::move(work));
}

// Starts `work`; `result` is filled when it ends. Exceptions leave the io_context's run.
template <class T>
void start(boost::asio::io_context& io, boost::asio::awaitable<T> work, std::optional<T>& result) {
  boost::asio::co_spawn(io, keep_result(std::move(work), &result), [](const std::exception_ptr& error) {
    if (error) std::rethrow_exception(error);
  });
}

// Runs until `done()`; throws when that takes too long.
template <class Condition>
void run_until(boost::asio::io_context& io, Condition done) {
  const auto limit = std::chrono::steady_clock::now() + kTestPatience;
  io.restart();
  while (!done()) {
    if (std::chrono::steady_clock::now() > limit) throw std::runtime_error("the test waited too long");
    if (io.stopped()) io.restart();
    io.run_one_for(std::chrono::milliseconds(20));
  }
}

template <class T>
T run(boost::asio::io_context& io, boost::asio::awaitable<T> work) {
  std::optional<T> result;
  start(io, std::move(work), result);
  run_until(io, [&] { return result.has_value(); });
  return *std::move(result);
}

// Lets everything that is ready now happen.
inline void settle(boost::asio::io_context& io) {
  io.restart();
  while (io.poll_one() > 0) {
  }
}

}  // namespace crestgate::tests
