// SPDX-License-Identifier: Apache-2.0
#pragma once
// Consistent overhead byte stuffing: removes every zero from a content, so that a zero can end a frame.
//
// Source  protocol/link/LINK.md, section 1; corners in protocol/link/vectors.txt.

#include <optional>

#include "simulator/link/bytes.h"

namespace crestgate::simulator {

// The content without zeros; the zero that ends the frame is not added.
Bytes stuff(ByteView content);

// The content of one frame, or nothing when a code byte points past the end.
// Pre     `stuffed` holds no zero (what stands between two zeros on the line); one inside gives nothing.
std::optional<Bytes> unstuff(ByteView stuffed);

}  // namespace crestgate::simulator
