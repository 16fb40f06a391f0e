// SPDX-License-Identifier: Apache-2.0
#pragma once
// The names of Asio that public headers need, without Asio: few translation units should pay for it.

namespace boost::asio {
class any_io_executor;
template <typename T, typename Executor>
class awaitable;
}  // namespace boost::asio

namespace crestgate::driver {

template <class T>
using Awaitable = boost::asio::awaitable<T, boost::asio::any_io_executor>;

}  // namespace crestgate::driver
