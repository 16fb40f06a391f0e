// SPDX-License-Identifier: Apache-2.0
#pragma once
// Messages to bytes and back; pure. Source: protocol/link/LINK.md; vectors in protocol/link/vectors.txt.

#include <cstdint>
#include <span>
#include <variant>

#include "driver/gauge/link/cobs.h"
#include "driver/gauge/link/messages.h"

namespace crestgate::driver::link {

[[nodiscard]] Type type_of(const Body& body);

// Head, body and check, before stuffing.
// Pre  texts of at most 255 characters, a chunk of 1 to kMaxChunk heights, a body of at most kMaxBody bytes.
[[nodiscard]] Bytes encode_content(const Message& message);

// The whole frame as it goes on the wire, closing zero included. Pre as above.
[[nodiscard]] Bytes encode_frame(const Message& message);

// Why a frame was dropped.
enum class Defect : std::uint8_t {
  kDamaged,       // shorter than a frame, wrong length field, wrong check
  kOtherVersion,  // whole, but of another version of the link
  kUnknownType,   // whole, but not a message of this page
  kMalformed,     // whole, but its body cannot be what its type says
};

// Any bytes are safe.
[[nodiscard]] std::variant<Message, Defect> decode_content(std::span<const std::uint8_t> content);

}  // namespace crestgate::driver::link
