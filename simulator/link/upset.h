// SPDX-License-Identifier: Apache-2.0
#pragma once
// What can go wrong with gauge and line while a traverse runs.

#include <cstdint>
#include <string>

namespace crestgate::simulator {

// How a port comes back after it was unplugged.
struct Replug {
  bool other_device = false;  // a pseudo-terminal under another number
  std::string link_path;      // where the link to it stands from now on; empty: where it stood
  friend bool operator==(const Replug&, const Replug&) = default;
};

// Happens once `after_samples` heights were measured.
struct Upset {
  enum class Kind {
    kStall,    // no more heights, everything else lives on
    kSilent,   // the line carries nothing in either direction for `for_ms`
    kHang,     // the whole gauge stands still for `for_ms` and reads nothing; then it goes on where it was
    kRestart,  // the gauge starts anew with another boot id
    kResetInReply,  // the same in the middle of a frame
    kDisconnect,    // the port goes away and comes back after `for_ms`
    kDriveBlocked,  // the gauge stops with fault 101
    kSlow,          // the line carries no more than `bytes_per_s` to the host for `for_ms`
    // These hit the chunk that ends with the sample.
    kFlipBit,
    kDropByte,
    kDuplicateFrame,
    kSwapFrames,     // it comes after the next frame that is no pulse
    kTruncateFrame,  // its second half is lost, the closing zero too
  };
  Kind kind = Kind::kStall;
  std::uint32_t after_samples = 0;
  std::int64_t for_ms = 0;        // 0: for ever
  std::uint32_t bytes_per_s = 0;  // kSlow: 1 or more
  Replug replug = {};             // kDisconnect
  friend bool operator==(const Upset&, const Upset&) = default;
};

constexpr bool hits_a_frame(Upset::Kind kind) {
  return kind >= Upset::Kind::kFlipBit || kind == Upset::Kind::kResetInReply;
}

}  // namespace crestgate::simulator
