// SPDX-License-Identifier: Apache-2.0
#pragma once
// The answer of everything that the outside world can make fail.

#include <string>
#include <utility>
#include <variant>

namespace crestgate::base {

// Chosen by what the caller should do about it.
enum class ErrorCode {
  // The line: the session may ask again.
  kNoReply,
  kTruncated,
  kMalformed,
  kChecksum,
  // The device or the request: asking the same again will not help.
  kRefused,
  kNotSupported,
  kOutOfRange,
  kWrongIdentity,
  kDeviceFault,  // the device reports a fault of its own
  kStopped,      // it began and then stopped in the middle
  kRestarted,    // it restarted: whatever ran is gone
  // The port or the disk: reopen with back-off.
  kDisconnected,
  kBusy,
  kIo,
  kNoSpace,
  // The data: report, keep running.
  kTooShort,
  kNoData,
  kNotConverged,
  kNotFinite,
  // Everything else.
  kInvalidConfig,
  kNotFound,
  kCancelled,
  kCorruptFile,
};

struct Error {
  ErrorCode code = ErrorCode::kIo;
  std::string detail;  // one line for a person: what, where, what was expected, what was found
};

// Purpose   a value or an Error; member names follow std::expected so that a later move to it is mechanical.
// Errors    value() on an error (or error() on a value) throws std::bad_variant_access: a bug of ours.
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value)
      : state_(std::in_place_index<0>, std::move(value)) {}  // NOLINT(google-explicit-constructor)
  Result(Error error)
      : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT(google-explicit-constructor)

  [[nodiscard]] bool has_value() const { return state_.index() == 0; }
  [[nodiscard]] explicit operator bool() const { return has_value(); }
  [[nodiscard]] const T& value() const& { return std::get<0>(state_); }
  [[nodiscard]] T& value() & { return std::get<0>(state_); }
  [[nodiscard]] T&& value() && { return std::get<0>(std::move(state_)); }
  [[nodiscard]] const T& operator*() const& { return value(); }
  [[nodiscard]] T& operator*() & { return value(); }
  [[nodiscard]] T&& operator*() && { return std::move(*this).value(); }
  [[nodiscard]] const T* operator->() const { return &value(); }
  [[nodiscard]] T* operator->() { return &value(); }
  [[nodiscard]] const Error& error() const { return std::get<1>(state_); }

 private:
  std::variant<T, Error> state_;
};

struct Done {};
using Outcome = Result<Done>;

}  // namespace crestgate::base
