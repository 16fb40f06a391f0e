// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/gauge_reason.h"

namespace crestgate::driver {

base::Reason reason_of(const base::Error& error) {
  using base::ErrorCode;
  using base::Reason;
  switch (error.code) {
    case ErrorCode::kNoReply:
      return Reason::kGaugeSilent;
    case ErrorCode::kStopped:
      return Reason::kGaugeStopped;
    case ErrorCode::kTruncated:
    case ErrorCode::kMalformed:
    case ErrorCode::kChecksum:
      return Reason::kGaugeLinkDamaged;
    case ErrorCode::kRefused:
    case ErrorCode::kOutOfRange:
      return Reason::kGaugeRefused;
    case ErrorCode::kNotSupported:
      return Reason::kGaugeProtocol;
    case ErrorCode::kWrongIdentity:
      return Reason::kGaugeWrongIdentity;
    case ErrorCode::kDeviceFault:
      return Reason::kGaugeFault;
    case ErrorCode::kRestarted:
      return Reason::kGaugeRestarted;
    // The port: missing, taken by another program, gone, failing.
    case ErrorCode::kDisconnected:
    case ErrorCode::kNotFound:
    case ErrorCode::kBusy:
    case ErrorCode::kIo:
      return Reason::kGaugeDisconnected;
    case ErrorCode::kCancelled:
      return Reason::kAborted;
    case ErrorCode::kTooShort:
      return Reason::kTraceTooShort;
    case ErrorCode::kNoData:
      return Reason::kTraceMissingSamples;
    case ErrorCode::kNotFinite:
      return Reason::kTraceNotFinite;
    case ErrorCode::kNoSpace:
    case ErrorCode::kNotConverged:
    case ErrorCode::kInvalidConfig:
    case ErrorCode::kCorruptFile:
      return Reason::kInternalError;
  }
  return Reason::kInternalError;
}

}  // namespace crestgate::driver
